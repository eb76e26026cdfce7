"""What the document says of errors, of which any operation may answer any.

What may live here: statuses, words and the one shape.
"""

from collections.abc import Mapping

from api.problems import MEDIA_TYPE, Problem
from api.routing import Told

_WORDS = {
    400: "The request cannot be read",
    401: "No token was shown, or one that nobody knows",
    403: "Whoever asks may not: read only, or a page of another site",
    404: "There is no such thing",
    405: "Not done here in this way",
    421: "Asked under another name than the bench's own",
    429: "Too many unknown tokens, or too many wishes wait",
    431: "The head of the request is too large",
    500: "A mistake in this program",
    503: "Not ready yet, or overloaded",
    408: "The body did not arrive in time",
    409: "This mat has no relay to command, somebody writes at the same time, or there"
    " is nothing to compare yet",
    413: "The body is too large",
    415: "The body is not of the media type that is taken here",
    422: "The body is well formed but asks for what cannot be",
}

ERRORS: Mapping[int, Told] = {
    status: Told(Problem, words, MEDIA_TYPE) for status, words in _WORDS.items()
}
"""What is said of errors, by their status."""
