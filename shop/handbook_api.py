"""The Handbook's part of the API: one operation a topic, made from the same table as its page."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

from django.http import HttpRequest
from ninja import Router, Schema
from pydantic import ConfigDict, Field, Strict, create_model

from shop.access import asker
from shop.handbook_answers import TOPICS
from shop.handbook_topics import Argument, Topic, answer
from shop.handbook_views import need_person

handbook = Router(tags=["handbook"])
Text = Annotated[str, Strict(), Field(max_length=60)]
Number = Annotated[float, Strict()] | Text


class _Strict(Schema):
    model_config = ConfigDict(extra="forbid")


class WasherIn(_Strict):
    """A washer to choose from."""

    code: Text
    thickness: Text
    tolerance: Text = "0 mm"
    count: Annotated[int, Strict()] = 1
    price: Number = ""
    place: Text | None = None


TYPES: dict[str, Any] = {
    "length": Text,
    "temperature": Text,
    "text": Text,
    "choice": Text,
    "number": Number,
    "lengths": list[Text],
    "washers": list[WasherIn],
    "places": Annotated[int, Strict()] | list[Text],
}


def _typed(one: Argument) -> tuple[Any, Any]:
    examples = [one.example] if one.example else None
    if one.required and not one.default:
        return TYPES[one.kind], Field(description=one.label, examples=examples)
    return TYPES[one.kind] | None, Field(default=None, description=one.label, examples=examples)


def body_of(topic: Topic) -> type[Schema]:
    """The body that a topic takes; a name that it does not know is refused."""
    fields: dict[str, Any] = {one.name: _typed(one) for one in topic.arguments}
    name = "".join(part.title() for part in topic.name.split("-")) + "In"
    return create_model(name, __base__=_Strict, **fields)


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
