"""The table of hazards: all that can go wrong, and what is done about it. Data.

What may live here: the rows put together, in the order in which they are shown.
"""

from controller.review.hazards import Hazard
from controller.review.hazards_in_the_wires import IN_THE_WIRES
from controller.review.hazards_on_the_bench import ON_THE_BENCH

HAZARDS: tuple[Hazard, ...] = (*ON_THE_BENCH, *IN_THE_WIRES)
