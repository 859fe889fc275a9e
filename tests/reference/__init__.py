"""A slow evaluator of the rules that the tests own, and scripts of what may happen at a station.

It is plain Python, written from the text of the rules alone, and shares no code with the fast
rules: where both agree, two people have read the text the same way.
"""
