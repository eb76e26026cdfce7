"""Photos beside the season log, without what tells where they were taken."""

from controller.adapters.photos.folder import PhotoFolder, photos_beside
from controller.adapters.photos.stripping import stripped

__all__ = ["PhotoFolder", "photos_beside", "stripped"]
