"""A bench that asks for tokens: logging in by a link or by hand, and what one may."""

import json

import pytest
from playwright.sync_api import expect

from api.app import create_app
from api.record_book import Records
from controller.adapters.access import FileAccess, TokenFile
from controller.ports import May
from tests.api.conftest import UTC_MS
from tests.core.conftest import ManualClock
from tests.page.served import Served
