"""Series of events and values that are printed in public texts, with where."""

from __future__ import annotations

# NIST/SEMATECH e-Handbook of Statistical Methods, sections 8.2.3.4 and 8.4.5.2: failures of one
# system under test for 1500 h.
NIST_TEN = [5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478]
NIST_TEN_END = 1500

# MIL-HDBK-189, Reliability Growth Management (1981), appendix C: tested until 300 h.
HANDBOOK_27 = [
    *(2.6, 16.5, 16.5, 17.0, 21.4, 29.1, 33.3, 56.5, 63.1, 70.6, 73.0, 77.7, 93.9, 95.5),
    *(98.1, 101.1, 132.0, 142.2, 147.7, 149.0, 167.2, 190.7, 193.0, 198.7, 251.9, 282.5, 286.1),
]
HANDBOOK_27_END = 300

# L. H. Crow (1974), Reliability Analysis for Complex, Repairable Systems: three systems until 200 h
# (the table from memory).
CROW_THREE = [
    [4.3, 4.4, 10.2, 23.5, 23.8, 26.4, 74.0, 77.1, 92.1, 197.2],
    [
        *(0.1, 5.6, 18.6, 19.5, 24.2, 26.7, 45.1, 45.8, 75.7, 79.7, 98.6),
        *(120.1, 161.8, 180.6, 190.8),
    ],
    [8.4, 32.5, 44.7, 48.4, 50.6, 73.6, 98.7, 112.2, 129.8, 136.0, 195.8],
]
CROW_THREE_END = 200

# The growth data of the package reliability 0.9.0 (`Datasets.system_growth`): watched until the
# last failure.
GROWTH_22 = [
    *(2.7, 10.3, 12.5, 30.6, 57, 61.3, 80, 109.5, 125, 128.6, 143.8, 167.9, 229.2, 296.7),
    *(320.6, 328.2, 366.2, 396.7, 421.1, 438.2, 501.2, 620),
]

# The five systems of the package reliability 0.9.0 (`Datasets.MCF_1`); the last time of each is
# where its watch ended.
FIVE_SYSTEMS = [
    [5, 10, 15, 17],
    [6, 13, 17, 19],
    [12, 20, 25, 26],
    [13, 15, 24],
    [16, 22, 25, 28],
]

# NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.1: ten failures, and ten more units
# that still ran at 500 h.
NIST_LIVES = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
NIST_LIVES_END = 500
