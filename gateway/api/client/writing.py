"""Writes the typed part of the client from the OpenAPI document: `make client`.

Types are TypedDicts, so that they cost a command nothing at run time and a program of others no library. Nothing but
the document is read here: what it does not say the client can't do.
"""

from __future__ import annotations

import json
import keyword
import re
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from gateway.api.openapi import build_document
from gateway.api.routes import OPERATIONS

__all__ = ["main", "write_operations", "write_types"]

_HEAD = '''"""{about}

Written from the OpenAPI document by `make client`; a change made here is lost.
"""

# fmt: off
# ruff: noqa: E501 - written by a program, for programs

from __future__ import annotations
'''
_PRIMITIVES = {"string": "str", "integer": "int", "number": "float", "boolean": "bool", "null": "None"}
_SENT_HEADERS = {"Idempotency-Key": "key", "If-Match": "if_match"}


def write_types(document: Mapping[str, Any]) -> str:
    """The source of `types.py`: every schema of the document."""
    schemas: Mapping[str, Any] = document["components"]["schemas"]
    lines = [_HEAD.format(about="Bodies and answers of the API, as they are in JSON.")]
    lines.append("from typing import Any, Literal, NotRequired, TypedDict\n\n__all__ = [")
    lines += [f'    "{name}",' for name in sorted(schemas)]
    lines.append("]\n")
    later = []
    for name, schema in sorted(schemas.items()):
        if "properties" in schema or schema.get("type") == "object":
            lines.append(_typed_dict(name, schema))
        else:
            later.append(f"{name} = {_annotation(schema)}")
    return "\n".join([*lines, *later]).rstrip("\n") + "\n"


def write_operations(document: Mapping[str, Any]) -> str:
    """The source of `operations.py`: a method for each operation but the event stream."""
    lines = [_HEAD.format(about="A method for each operation of the API.")]
    lines.append("from typing import Any, Literal\n\nfrom gateway.api.client import types")
    lines.append("from gateway.api.client.calling import Calling, Tagged\n")
    lines.append('__all__ = ["Operations"]\n\n')
    lines.append(
        'class Operations(Calling):\n    """Methods named after the operations\' ids, with their parameters."""\n'
    )
    guarded = {path for path, item in document["paths"].items() if any(_if_match(each) for each in item.values())}
    for path, item in document["paths"].items():
        for method, operation in item.items():
            if "text/event-stream" not in _contents(operation):
                lines.append(_method(method.upper(), path, operation, tagged=path in guarded and method == "get"))
    return "\n".join(lines).rstrip("\n") + "\n"


def main() -> None:
    """Write both files beside this one."""
    document, folder = build_document(OPERATIONS, version=""), Path(__file__).parent
    (folder / "types.py").write_text(write_types(document), "utf-8")
    (folder / "operations.py").write_text(write_operations(document), "utf-8")
    sys.stdout.write(f"{len(document['paths'])} paths written to {folder}\n")


def _typed_dict(name: str, schema: Mapping[str, Any]) -> str:
    about = json.dumps(" ".join(schema.get("description", f"{name}.").split()), ensure_ascii=False)[1:-1]
    needed = schema.get("required", ())
    fields = {
        field: _annotation(shape) if field in needed else f"NotRequired[{_annotation(shape)}]"
        for field, shape in schema.get("properties", {}).items()
    }
    if any(not field.isidentifier() or keyword.iskeyword(field) for field in fields):
        pairs = ", ".join(f"{field!r}: {shape}" for field, shape in fields.items())
        return f'{name} = TypedDict("{name}", {{{pairs}}})\n"""{about}"""\n'
    body = [f"    {field}: {shape}" for field, shape in fields.items()]
    return "\n".join([f"\nclass {name}(TypedDict):", f'    """{about}"""', "", *body, ""])


def _annotation(schema: Mapping[str, Any], prefix: str = "") -> str:  # noqa: PLR0911 - a table of kinds of schemas
    """The type of what fits a schema; Any where Python has no word for it."""
    if "$ref" in schema:
        return prefix + str(schema["$ref"]).rpartition("/")[2]
    if "const" in schema:
        return f"Literal[{schema['const']!r}]"
    if "enum" in schema:
        return f"Literal[{', '.join(map(repr, schema['enum']))}]"
    choices = schema.get("anyOf") or schema.get("oneOf")
    if choices:
        return " | ".join(dict.fromkeys(_annotation(each, prefix) for each in choices))
    kind = schema.get("type")
    if kind == "array":
        return f"list[{_annotation(schema.get('items', {}), prefix)}]"
    if kind == "object":
        values = schema.get("additionalProperties", {})
        return f"dict[str, {_annotation(values, prefix) if isinstance(values, dict) else 'Any'}]"
    return _PRIMITIVES.get(str(kind), "Any")


def _method(method: str, path: str, operation: Mapping[str, Any], *, tagged: bool) -> str:
    parameters: list[Mapping[str, Any]] = operation.get("parameters", [])
    names = [each["name"] for each in parameters if each["in"] == "path"]
    query = {each["name"]: each for each in parameters if each["in"] == "query"}
    sent = [each for each in parameters if each["name"] in _SENT_HEADERS]
    body, needed = _body(operation)
    answer = _answer(operation)
    arguments = [f"{name}: str | int" for name in names]
    if body:
        arguments.append(f"body: {body}" if needed else f"body: {body} | None = None")
    if query or sent:
        arguments.append("*")
    arguments += [_query_argument(each) for each in query.values()]
    arguments += [_header_argument(each) for each in sent]
    result = f"Tagged[{answer}]" if tagged else answer
    call = [f'"{method}"', f'"{path}"', f"path={_dict(names)}"] + ([f"query={_dict(query)}"] if query else [])
    call += ["body=body"] if body else []
    call += [f"headers={_headers(sent)}"] if sent else []
    how = "_call_tagged" if tagged else "_download" if answer == "bytes" else "_call"
    about = f"{operation['summary']}."
    return "\n".join(
        [
            f"    async def {_snake(operation['operationId'])}({', '.join(['self', *arguments])}) -> {result}:",
            f'        """{about}"""',
            f"        {'' if answer == 'None' else f'found: {result} = '}await self.{how}({', '.join(call)})",
            *([] if answer == "None" else ["        return found"]),
            "",
        ]
    )


def _query_argument(parameter: Mapping[str, Any]) -> str:
    kind = _annotation(parameter["schema"], "types.")
    if parameter["required"]:
        return f"{parameter['name']}: {kind}"
    return f"{parameter['name']}: {kind if kind.endswith('None') else f'{kind} | None'} = None"


def _header_argument(parameter: Mapping[str, Any]) -> str:
    name = _SENT_HEADERS[parameter["name"]]
    return f"{name}: str" if parameter["required"] else f"{name}: str | None = None"


def _headers(sent: Iterable[Mapping[str, Any]]) -> str:
    pairs = (f'"{each["name"]}": {_SENT_HEADERS[each["name"]]}' for each in sent)
    return f"{{{', '.join(pairs)}}}"


def _dict(names: Iterable[str]) -> str:
    return "{" + ", ".join(f'"{name}": {name}' for name in names) + "}"


def _body(operation: Mapping[str, Any]) -> tuple[str, bool]:
    asked = operation.get("requestBody")
    schema = asked["content"].get("application/json", {}).get("schema") if asked else None
    return (_annotation(schema, "types."), bool(asked["required"])) if asked and schema else ("", False)


def _answer(operation: Mapping[str, Any]) -> str:
    contents = _contents(operation)
    if not contents:
        return "None"
    if "application/json" not in contents:
        return "bytes"
    found = _annotation(contents["application/json"].get("schema", {}), "types.")
    return "dict[str, Any]" if found == "Any" else found


def _contents(operation: Mapping[str, Any]) -> Mapping[str, Any]:
    """What the best answer holds."""
    status = min(each for each in operation["responses"] if each.startswith("2"))
    found: Mapping[str, Any] = operation["responses"][status].get("content", {})
    return found


def _if_match(operation: Mapping[str, Any]) -> bool:
    return any(each["name"] == "If-Match" for each in operation.get("parameters", []))


def _snake(name: str) -> str:
    return re.sub(r"(?<=[a-z0-9])([A-Z])", r"_\1", name).lower()


if __name__ == "__main__":
    main()
