"""What `tune` and `whatif` are both told beside the settings. No command."""

import argparse

RATED = 100_000
SEED = 1
"""What is taken where nobody says."""


def add_terms(parser: argparse.ArgumentParser) -> None:
    """Add what energy costs, what the relay is made for, and days to come."""
    parser.add_argument(
        "--price", metavar="PRICE", help='of energy, such as "0.30 per kWh"'
    )
    parser.add_argument(
        "--rated",
        metavar="N",
        type=int,
        default=RATED,
        help=f"operations that the relay is made for ({RATED})",
    )
    parser.add_argument(
        "--next",
        dest="next_days",
        metavar="DAYS",
        type=int,
        help="also what to expect of so many days to come, under weather like that of"
        " the log's days",
    )
