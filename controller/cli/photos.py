"""A photo's file sent to a bench, or kept beside a log at rest. No command.

What may live here: what --photo takes, and sending it.
"""

import argparse
from pathlib import Path

from controller.cli.asking import send_photo
from controller.cli.over_http import AskError

LARGEST_MB = 12
"""Of a photo that the API takes."""

A_PHOTO = (
    f"a JPEG, PNG or WebP of at most {LARGEST_MB} MB; a copy is kept beside the season"
    " log, without place, time and owner"
)

_TYPES = {
    ".jpg": "image/jpeg",
    ".jpeg": "image/jpeg",
    ".png": "image/png",
    ".webp": "image/webp",
}


def photo_kept(args: argparse.Namespace) -> str | None:
    """Send the photo that was named, if any; return the name it is kept under.

    Args:
        args: With photo, and what asking.add_options leaves.

    Raises:
        AskError: There is no such file, or it is not taken.
    """
    if args.photo is None:
        return None
    path: Path = args.photo
    media_type = _TYPES.get(path.suffix.lower())
    if media_type is None:
        right = f"the name must end in {', '.join(_TYPES)}"
        raise AskError(f"--photo {path}: {right}")
    answer = send_photo(args, _read(path), media_type)
    return str(answer["name"])


def _read(path: Path) -> bytes:
    most = LARGEST_MB * 1_000_000
    try:
        with path.open("rb") as file:
            picture = file.read(most + 1)
    except OSError as error:
        raise AskError(f"--photo {path}: {error.strerror}") from None
    if len(picture) > most:
        raise AskError(f"--photo {path}: it is larger than {LARGEST_MB} MB")
    return picture
