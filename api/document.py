"""The OpenAPI document: what an app's routes take and answer (OpenAPI 3.1.0).

Shapes are built for it alone and let go again. What may live here: from routes to
the document. What it says of access and errors is handed in or added by the app.
"""

import inspect
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

from pydantic import BaseModel, TypeAdapter

from api.routing import JSON, Operation, Told
from api.wants import PathPart, Shaped, Wants, wants_of

Document = dict[str, object]

REFERENCE = "#/components/schemas/{model}"

_Mode = Literal["validation", "serialization"]


@dataclass(frozen=True, slots=True)
class About:
    """What a document says of an app as such.

    Attributes:
        title: Its name.
        version: Of the program.
        description: Words.
        answers: What any operation may answer besides its own answers.
    """

    title: str
    version: str
    description: str = ""
    answers: Mapping[int, Told] = field(default_factory=dict)


def document_of(about: About, operations: Iterable[Operation]) -> Document:
    """Return the document of an app's operations."""
    listed = tuple(operations)
    shapes = _Shapes(_shapes_in(about, listed))
    paths: dict[str, Document] = {}
    for one in listed:
        told = _operation(one, about, shapes)
        paths.setdefault(one.path, {})[one.method.lower()] = told
    info = {"title": about.title, "version": about.version}
    if about.description:
        info["description"] = about.description
    return {
        "openapi": "3.1.0",
        "info": info,
        "paths": paths,
        "components": {"schemas": shapes.named},
    }


class _Shapes:
    """JSON Schemas of shapes.

    Attributes:
        named: Those with names, to which others refer.
    """

    def __init__(self, wanted: Iterable[tuple[type, _Mode]]) -> None:
        adapters: list[tuple[type, _Mode, TypeAdapter[object]]] = [
            (kind, mode, TypeAdapter(kind)) for kind, mode in set(wanted)
        ]
        by_key, defined = TypeAdapter.json_schemas(adapters, ref_template=REFERENCE)
        self._by_key = by_key
        named = defined.get("$defs", {})
        self.named: dict[str, object] = {name: named[name] for name in sorted(named)}

    def of(self, kind: type, mode: _Mode) -> object:
        """Return the schema of a shape."""
        return self._by_key[kind, mode]

    def fields(self, model: type[BaseModel]) -> Iterator[tuple[str, object, bool]]:
        """Yield names, schemas and necessity of a query's fields."""
        schema = model.model_json_schema(ref_template=REFERENCE)
        self.named.update(schema.get("$defs", {}))
        needed = schema.get("required", ())
        for name, one in schema.get("properties", {}).items():
            yield name, one, name in needed


def _shapes_in(
    about: About, operations: Iterable[Operation]
) -> Iterator[tuple[type, _Mode]]:
    for one in operations:
        for told in _answers(one, about).values():
            if isinstance(told.content, type):
                yield told.content, "serialization"
        body = wants_of(one.call).body
        if body is not None:
            yield body.model, "validation"


def _operation(one: Operation, about: About, shapes: _Shapes) -> Document:
    wants = wants_of(one.call, one.before)
    told: Document = {
        "summary": one.call.__name__.replace("_", " ").capitalize(),
        "operationId": one.call.__name__,
    }
    words = inspect.getdoc(one.call)
    if words:
        told["description"] = words
    parameters = list(_parameters(wants, shapes))
    if parameters:
        told["parameters"] = parameters
    if one.takes is not None:
        told["requestBody"] = {"content": one.takes, "required": True}
    elif wants.body is not None:
        told["requestBody"] = _body(wants.body, shapes)
    told["responses"] = {
        str(status): {
            "description": answer.description,
            **_content(answer, shapes),
        }
        for status, answer in sorted(_answers(one, about).items())
    }
    return told


def _answers(one: Operation, about: About) -> dict[int, Told]:
    shape = one.shape()
    own = Told({} if shape is None else shape)
    return {**about.answers, one.status: own, **(one.answers or {})}


def _content(told: Told, shapes: _Shapes) -> Document:
    content = told.content
    if isinstance(content, type):
        content = {told.media_type: {"schema": shapes.of(content, "serialization")}}
    return {"content": content} if content else {}


def _body(body: Shaped, shapes: _Shapes) -> Document:
    schema = shapes.of(body.model, "validation")
    if not body.needed:
        schema = {"anyOf": [schema, {"type": "null"}]}
    return {"content": {JSON: {"schema": schema}}, "required": True}


def _parameters(wants: Wants, shapes: _Shapes) -> Iterator[Document]:
    """Yield all that a route and what is asked before it want, each once."""
    seen: set[tuple[str, str]] = set()
    for place, listed in (
        ("path", _path_parts(wants)),
        ("query", _queries(wants, shapes)),
        ("header", _headers(wants)),
    ):
        for name, schema, needed in listed:
            if (place, name) in seen:
                continue
            seen.add((place, name))
            told = {"name": name, "in": place, "required": needed, "schema": schema}
            if isinstance(schema, dict) and "description" in schema:
                told["description"] = schema["description"]
            yield told


def _path_parts(wants: Wants) -> Iterator[tuple[str, object, bool]]:
    for one in wants.all():
        for part in one.parts:
            yield part.name, _part(part), True


def _part(part: PathPart) -> Document:
    schema: Document = {"type": "integer" if part.whole else "string"}
    if part.description:
        schema["description"] = part.description
    return schema


def _queries(wants: Wants, shapes: _Shapes) -> Iterator[tuple[str, object, bool]]:
    for one in wants.all():
        if one.query is not None:
            yield from shapes.fields(one.query.model)


def _headers(wants: Wants) -> Iterator[tuple[str, object, bool]]:
    for one in wants.all():
        for _, header in one.headers:
            yield header, {"type": "string"}, False
