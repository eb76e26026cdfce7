"""Telling people of alarms: what, when and how; see notifier for the order.

A message is delivered at least once: one that comes twice has the same id.
"""

from controller.adapters.notify.book import BookFile, book_beside
from controller.adapters.notify.letters import Paper, plain_letter
from controller.adapters.notify.line import NotSentError
from controller.adapters.notify.memory import Letter
from controller.adapters.notify.notifier import Notifier, Target, Words
from controller.adapters.notify.scope import COLD
from controller.adapters.notify.senders import (
    NotifyError,
    PublishNotice,
    Sender,
    sender_for,
)

__all__ = [
    "COLD",
    "BookFile",
    "Letter",
    "NotSentError",
    "Notifier",
    "NotifyError",
    "Paper",
    "PublishNotice",
    "Sender",
    "Target",
    "Words",
    "book_beside",
    "plain_letter",
    "sender_for",
]
