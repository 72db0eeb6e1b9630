"""The form of a topic, made from its table. What is wrong is said by the same reader that serves the API."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms

from shop.refusals import Refusal
from shop.topics.table import Answer, Argument, Topic, answer

LONGEST = 20_000  # characters of a list


class TopicForm(forms.Form):
    """A bound form has its ``answer`` once ``is_valid``."""

    answer: Answer | None = None

    def __init__(self, topic: Topic, data: Mapping[str, Any] | None, decimal_mark: str = ".") -> None:
        super().__init__(data)
        self.topic, self.decimal_mark = topic, decimal_mark
        for one in topic.arguments:
            self.fields[one.name] = _field(one)

    def clean(self) -> dict[str, Any]:
        typed = {one.name: self.data.get(one.name, "") for one in self.topic.arguments}
        try:
            self.answer = answer(self.topic, typed, self.decimal_mark)
        except Refusal as trouble:
            for name, message in trouble.errors.items():
                if name not in self.errors:  # the form may have said already that it is needed
                    self.add_error(name if name in self.fields else None, message)
        return typed


def _field(one: Argument) -> forms.Field:
    # Every field may come empty here: the reader says what is needed, with an example.
    if one.kind == "choice" and one.choices is not None:
        first = [] if one.default else [("", "choose" if one.required else "not given")]
        made: forms.Field = forms.ChoiceField(choices=[*first, *((word, word) for word in one.choices())])
        made.validators, made.initial = [], one.default
    elif one.lines:
        made = forms.CharField(widget=forms.Textarea, max_length=LONGEST)
    else:
        made = forms.CharField(max_length=60)
    made.label = one.label
    made.help_text = one.help or (f"Such as {one.such_as}." if one.example else "")
    made.required = one.required
    if one.kind != "choice" and not one.lines and one.default:
        made.initial = one.default
    made.error_messages["required"] = f"This is needed. Write it like {one.such_as}."
    return made
