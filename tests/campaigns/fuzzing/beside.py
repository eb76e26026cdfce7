"""Targets that read the files beside a season log: kept trips, the book."""

from pydantic import TypeAdapter

from controller.adapters.notify.book import BookFile
from controller.adapters.notify.memory import Book, Item, Letter, Memory, Told
from controller.adapters.season_log import TripFile
from controller.core.decisions import AlarmKind
from controller.wire import encode_trips, to_text
from tests.builders import UTC_MS
from tests.campaigns.fuzzing.folders import a_folder
from tests.campaigns.fuzzing.mutator import Mutator
from tests.campaigns.fuzzing.seasons import TRIPS
from tests.campaigns.fuzzing.target import Target

KEPT_TRIPS = Mutator(
    (to_text(encode_trips(TRIPS)).encode(), b'{"version":1,"trips":{}}'),
    (b"north", b'"cause"', b'"version"', b'"probe"', b'"at_ms"', b"tripped", b"null"),
)


def check_trips(content: bytes) -> bool:
    """A file of trips is trips, or an error that names it: never no trips."""
    with a_folder() as folder:
        path = folder / "season.trips.json"
        path.write_bytes(content)
        try:
            found = TripFile(path).load()
        except ValueError as error:
            assert str(path) in str(error)
            return False
        TripFile(path).save(found)
        assert TripFile(path).load() == found
    return True


_BOOK = Book(
    {
        "phone": Memory(
            (Told(AlarmKind.TRIP, "north", "north", "locked off", 5_000),),
            (Item(AlarmKind.LINK_DOWN, "", "", "no broker", UTC_MS),),
            (5_000,),
            20_370,
        )
    },
    (
        Letter(
            id="a1",
            target="phone",
            title="bench",
            text="locked off",
            priority="high",
            body="{}",
            made_ms=5_000,
        ),
    ),
)
BOOKS = Mutator(
    (TypeAdapter(Book).dump_json(_BOOK), TypeAdapter(Book).dump_json(Book())),
    (b'"told"', b'"held"', b'"sent_ms"', b'"trip"', b'"link-down"', b"null", b"phone"),
)


def check_book(content: bytes) -> bool:
    """A book of messages never keeps a bench from starting; a damaged one is kept."""
    with a_folder() as folder:
        path = folder / "season.notices.json"
        path.write_bytes(content)
        found, trouble = BookFile(path).load()
        if trouble is not None:
            assert found == Book()
            assert path.with_name(f"{path.name}.damaged").read_bytes() == content
            return False
        BookFile(path).save(found)
        assert BookFile(path).load() == (found, None)
    return True


TARGETS = (
    Target("trips", 30, KEPT_TRIPS.made, check_trips),
    Target("book", 10, BOOKS.made, check_book),
)
