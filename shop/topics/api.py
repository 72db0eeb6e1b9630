"""The Handbook's part of the API: one operation a topic, made from the same table as its page."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

from django.http import HttpRequest
from ninja import Router, Schema
from pydantic import ConfigDict, Field, Strict, create_model

from shop.access import asker
from shop.topics.all import TOPICS
from shop.topics.table import Argument, Topic, answer
from shop.topics.views import need_person

handbook = Router(tags=["handbook"])
Text = Annotated[str, Strict(), Field(max_length=60)]
Number = Annotated[float, Strict()] | Text


class _Strict(Schema):
    model_config = ConfigDict(extra="forbid")


def _plain(one: Argument) -> Any:
    """The type of one value of an argument."""
    if one.kind in {"number", "money"} or one.bare:
        return Number
    if one.kind == "flag":
        return Annotated[bool, Strict()]
    if one.kind == "places":
        return Annotated[int, Strict()] | list[Text]
    return Text


def _typed(one: Argument, owner: str) -> tuple[Any, Any]:
    made: Any = _model(f"{owner}{one.name.title()}", one.columns) if one.kind == "rows" else _plain(one)
    listed: Any = Annotated[list[made], Field(max_length=one.most)] if one.lines else made
    examples = [one.example] if one.example and not one.lines else None
    if one.required and not one.default:
        return listed, Field(description=one.label, examples=examples)
    return listed | None, Field(default=None, description=one.label, examples=examples)


def _model(name: str, arguments: tuple[Argument, ...]) -> type[Schema]:
    """A body or a row of it; a name that it does not know is refused."""
    fields: dict[str, Any] = {one.name: _typed(one, name) for one in arguments}
    return create_model(name, __base__=_Strict, **fields)


def body_of(topic: Topic) -> type[Schema]:
    """The body that a topic takes."""
    return _model("".join(part.title() for part in topic.name.split("-")) + "In", topic.arguments)


def _operation(topic: Topic) -> Callable[..., dict[str, Any]]:
    def work_out(request: HttpRequest, payload: Any) -> dict[str, Any]:
        need_person(asker(request))
        return answer(topic, payload.model_dump(exclude_none=True)).as_reply()

    work_out.__annotations__["payload"] = body_of(topic)
    work_out.__doc__ = topic.says
    work_out.__name__ = f"work_out_{topic.name.replace('-', '_')}"
    return work_out


for _topic in TOPICS.values():
    handbook.post(f"/{_topic.name}", response=dict[str, Any], summary=_topic.title)(_operation(_topic))
