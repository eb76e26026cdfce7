"""Containers in which units of open trials stand: what may not be moved about.

What may live here: from the book to those containers.
"""

from controller.records.book import Book, batches, trials


def open_units(book: Book) -> dict[str, str]:
    """Return the trays in which units of open trials stand, with a trial's title.

    A trial is open as long as a batch of one of its units is.
    """
    standing = {
        file.code: file.stays[-1].tray
        for file in batches(book)
        if file.stays and file.closing is None
    }
    return {
        tray: trial.title
        for _, trial in trials(book)
        for unit in trial.units
        if (tray := standing.get(unit.batch, ""))
    }
