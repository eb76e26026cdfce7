"""What the OpenAPI document promises, and that answers keep it."""

import json

import pytest
from pydantic import TypeAdapter

from api import shapes
from api.problems import Problem

PAGE = ["/", "/page/{name}"]
READING = [
    *PAGE,
    "/v1",
    "/v1/health",
    "/v1/health/live",
    "/v1/health/ready",
    "/metrics",
    "/calendar.ics",
    "/v1/bench",
    "/v1/trays",
    "/v1/trays/{tray}",
    "/v1/trays/{tray}/temperatures",
    "/v1/trays/{tray}/degree-hours",
    "/v1/trays/{tray}/kept",
    "/v1/mats/{mat}/heat",
    "/v1/mats",
    "/v1/mats/{mat}",
    "/v1/mats/{mat}/why",
    "/v1/alarms",
    "/v1/forecast",
    "/v1/log",
    "/v1/live",
    "/v1/requests/{number}",
    "/v1/photos/{name}",
]
WRITING = {
    "/v1/mats/{mat}/setpoint": {"put", "delete"},
    "/v1/mats/{mat}/enabled": {"put"},
    "/v1/mats/{mat}/reset": {"post"},
    "/v1/mats/{mat}/hold": {"post"},
    "/v1/mats/{mat}/step": {"post"},
    "/v1/alarms/{alarm}/acknowledge": {"post"},
    "/v1/alarms/{alarm}/shelve": {"post"},
}
RECORDS = {
    "/v1/events": {"get", "post"},
    "/v1/events/{number}": {"get", "patch"},
    "/v1/batches": {"get", "post"},
    "/v1/batches/import": {"post"},
    "/v1/batches/{code}": {"get", "patch"},
    "/v1/batches/{code}/history": {"get"},
    "/v1/batches/{code}/looks": {"post"},
    "/v1/batches/{code}/looks/{number}": {"patch"},
    "/v1/batches/{code}/move": {"post"},
    "/v1/batches/{code}/moves/{number}": {"patch"},
    "/v1/batches/{code}/close": {"post"},
    "/v1/batches/{code}/advice": {"get"},
    "/v1/batches/{code}/stages": {"post"},
    "/v1/batches/{code}/stages/{number}": {"patch"},
    "/v1/trays/{tray}/looks": {"post"},
    "/v1/advice": {"get"},
    "/v1/reminders": {"get"},
    "/v1/varieties": {"get"},
    "/v1/photos": {"post"},
    "/v1/looks/import": {"post"},
    "/v1/trials": {"get", "post"},
    "/v1/trials/{number}": {"get", "patch"},
    "/v1/trials/{number}/comparison": {"get"},
}


@pytest.fixture(scope="module")
def document(shared_app):
    return shared_app.openapi()


OTHER = {"/v1/session": {"get", "post", "delete"}}
NOT_JSON = {"/v1/live", "/metrics", "/calendar.ics", "/v1/photos/{name}"}


def operations(document):
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            yield f"{method} {path}", operation


def test_the_routes_are_those_of_the_contract(document):
    found = {path: set(methods) for path, methods in document["paths"].items()}
    assert found == {path: {"get"} for path in READING} | WRITING | RECORDS | OTHER


def test_every_operation_says_which_errors_it_gives_in_the_one_shape(document):
    for name, operation in operations(document):
        errors = {
            status: answer
            for status, answer in operation["responses"].items()
            if status[0] in "45"
        }
        assert {"400", "404", "405", "421", "500", "503"} <= errors.keys(), name
        if not name.startswith("get"):
            assert {"403", "409", "413", "415", "422", "429"} <= errors.keys(), name
        for status, answer in errors.items():
            assert list(answer["content"]) == ["application/problem+json"], name
            schema = answer["content"]["application/problem+json"]["schema"]
            assert schema == {"$ref": "#/components/schemas/Problem"}, (name, status)


def test_every_operation_has_words_and_a_schema_for_its_success(document):
    for name, operation in operations(document):
        assert operation["description"], name
        method, path = name.split()
        if path in {*OTHER, *NOT_JSON}:
            # a stream, answers without body, and other media types
            continue
        told = {"get": "200", "patch": "200", "post": "201"}
        status = told[method] if path in RECORDS else "202"
        success = operation["responses"]["200" if method == "get" else status]
        if path in PAGE:
            assert next(iter(success["content"])).startswith("text/"), name
            continue
        assert "$ref" in success["content"]["application/json"]["schema"], name


def test_a_photo_is_sent_as_it_is(document):
    operation = document["paths"]["/v1/photos"]["post"]
    binary = {"schema": {"type": "string", "format": "binary"}}
    pictures = dict.fromkeys(("image/jpeg", "image/png", "image/webp"), binary)
    assert operation["requestBody"] == {"required": True, "content": pictures}
    assert list(operation["responses"]["507"]["content"]) == [
        "application/problem+json"
    ]
    found = document["paths"]["/v1/photos/{name}"]["get"]["responses"]["200"]
    assert found["content"] == pictures


def test_every_reference_leads_somewhere(document):
    schemas = document["components"]["schemas"]
    text = json.dumps(document)
    named = {part.split('"')[0] for part in text.split("#/components/schemas/")[1:]}
    assert named <= schemas.keys()
    assert "Problem" in schemas
    assert "HTTPValidationError" not in schemas


def test_the_document_stays_the_same_when_asked_for_twice(shared_app, document):
    before = json.dumps(document)
    assert json.dumps(shared_app.openapi()) == before


def test_queries_say_their_names_and_bounds(document):
    asked = document["paths"]["/v1/trays/{tray}/temperatures"]["get"]["parameters"]
    found = {item["name"]: item["schema"] for item in asked}
    assert found.keys() == {"tray", "from", "to", "points"}
    assert (found["points"]["minimum"], found["points"]["maximum"]) == (2, 2_000)


SHAPES = {
    "/v1": shapes.PointerView,
    "/v1/health": shapes.HealthView,
    "/v1/bench": shapes.BenchView,
    "/v1/trays": shapes.TraysView,
    "/v1/trays/N1": shapes.TrayView,
    "/v1/trays/N1/temperatures": shapes.TemperaturesView,
    "/v1/trays/N1/degree-hours": shapes.DegreeHoursView,
    "/v1/mats": shapes.MatsView,
    "/v1/mats/north": shapes.MatView,
    "/v1/mats/north/why": shapes.WhyView,
    "/v1/mats/north/heat": shapes.HeatView,
    "/v1/trays/N1/kept": shapes.KeptView,
    "/v1/alarms": shapes.AlarmsView,
    "/v1/log": shapes.LogView,
    "/v1/trays/Z9": Problem,
    "/v1/log?after=x": Problem,
}


@pytest.mark.parametrize("path", list(SHAPES))
async def test_answers_have_exactly_the_keys_that_are_promised(client, path):
    answer = (await client.get(path)).json()
    shape = SHAPES[path]
    TypeAdapter(shape).validate_python(answer)
    assert answer.keys() <= shape.__annotations__.keys()
    assert answer.keys() >= shape.__required_keys__
