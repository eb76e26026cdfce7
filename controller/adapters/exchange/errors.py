"""What goes wrong with files that are not ours. What may live here: that error."""


class ExchangeError(Exception):
    """A file cannot be read or written; the message says which and why."""
