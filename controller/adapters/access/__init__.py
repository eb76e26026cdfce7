"""Who may use the API: a file of tokens and one of sessions, beside the log."""

from controller.adapters.access.gate import FileAccess
from controller.adapters.access.private_file import AccessError
from controller.adapters.access.token_file import (
    Token,
    TokenFile,
    sessions_beside,
    tokens_beside,
)

__all__ = [
    "AccessError",
    "FileAccess",
    "Token",
    "TokenFile",
    "sessions_beside",
    "tokens_beside",
]
