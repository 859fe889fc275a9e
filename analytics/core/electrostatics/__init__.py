"""What the charge on an unbonded vessel could have been: published formulas, and the estimate.

Each module holds one subject: its formulas as plain functions over numbers or arrays, with units
in their names and the source of each in its docstring. `estimate` puts them together for the
recorded signals of a station. An estimate ranks and explains; it never says that anything was safe.
"""
