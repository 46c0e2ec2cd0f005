"""The OpenAPI document as rows of a page for people."""

from collections.abc import Iterator
from dataclasses import dataclass


@dataclass(frozen=True)
class DocumentedField:
    """A parameter, or a field of an answer; one of a field in it has a dotted name."""

    name: str
    type: str
    description: str


@dataclass(frozen=True)
class Endpoint:
    path: str
    summary: str
    params: list[DocumentedField]
    fields: list[DocumentedField]


def endpoints(document: dict) -> list[Endpoint]:
    """Return what the document says of each path."""
    schemas = document["components"]["schemas"]
    found = []
    for path, methods in document["paths"].items():
        operation = methods["get"]
        content = operation["responses"][200]["content"]["application/json"]
        found.append(
            Endpoint(
                path=path.rpartition("/")[2],
                summary=operation["summary"],
                params=[
                    DocumentedField(
                        param["name"],
                        _type(param["schema"], schemas),
                        param["schema"].get("description", ""),
                    )
                    for param in operation.get("parameters", [])
                ],
                fields=list(_lines(content["schema"], schemas)),
            )
        )
    return found


def _lines(schema: dict, schemas: dict, before: str = "") -> Iterator[DocumentedField]:
    for name, field in _resolved(schema, schemas)["properties"].items():
        description = field.get("description", "")
        yield DocumentedField(before + name, _type(field, schemas), description)
        inside = _inside(field)
        if "properties" in _resolved(inside, schemas):
            list_mark = "[]" if _is_list(field) else ""
            # An amount is explained once, above all endpoints.
            if not inside["$ref"].endswith("/Money"):
                yield from _lines(inside, schemas, f"{before}{name}{list_mark}.")


def _resolved(schema: dict, schemas: dict) -> dict:
    return schemas[schema["$ref"].rpartition("/")[2]] if "$ref" in schema else schema


def _inside(field: dict) -> dict:
    """Return the schema of the values: of the items of a list, without null."""
    for choice in field.get("anyOf", []) + field.get("allOf", []):
        if choice.get("type") != "null":
            return _inside(choice)
    return _inside(field["items"]) if "items" in field else field


def _is_list(field: dict) -> bool:
    return field.get("type") == "array"


def _type(field: dict, schemas: dict) -> str:
    """Return the type in words."""
    inside = _inside(field)
    name = inside.get("format") or inside.get("type", "")
    if "$ref" in inside:
        is_money = inside["$ref"].endswith("/Money")
        name = "amount and currency" if is_money else "object"
    words = {"date-time": "moment", "integer": "whole number", "string": "text"}
    text = words.get(name, name)
    if _is_list(field):
        text = f"list of {text}s"
    is_optional = {"type": "null"} in field.get("anyOf", [])
    return f"{text} or null" if is_optional else text
