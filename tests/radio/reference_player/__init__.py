"""The reference player of four generations, played literally in virtual time: another author's view, for comparison.

Written from the description of the format alone (Android Open Source Project, frameworks/base, cmds/bootanimation:
format description and the player's published behaviour on 2.3 to 4.0, 4.2 to 5.1, 10 to 11 and 14). It is slow and
plain on purpose, reads raw bytes itself and shares nothing with the package it is compared with: no import of it here.
"""

FIRST, SECOND, THIRD, FOURTH = 1, 2, 3, 4
GENERATIONS = (FIRST, SECOND, THIRD, FOURTH)
