"""The form of a topic, made from its table. What is wrong is said by the same reader that serves the API."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from shop.refusals import Refusal
from shop.topics.reading import example_of, in_marks_of
from shop.topics.shown import in_inches
from shop.topics.table import Answer, Argument, Topic, answer

LONGEST = 20_000  # characters of a list
ADVICE = re.compile(r"(?:Write|such as) .*")


class TopicForm(forms.Form):
    """A bound form has its ``answer`` once ``is_valid``."""

    answer: Answer | None = None

    def __init__(self, topic: Topic, data: Mapping[str, Any] | None, decimal_mark: str = ".") -> None:
        super().__init__(data)
        self.topic, self.decimal_mark = topic, decimal_mark
        for one in topic.arguments:
            self.fields[one.name] = _field(one, decimal_mark)
        if "decimal_mark" in self.fields:
            self.fields["decimal_mark"].initial = decimal_mark

    def clean(self) -> dict[str, Any]:
        typed = {one.name: self.data.get(one.name, "") for one in self.topic.arguments}
        try:
            self.answer = answer(self.topic, typed, self.decimal_mark)
            if in_inches(typed.values()):
                self.answer = self.answer.inch_first()
        except Refusal as trouble:
            for name, message in trouble.errors.items():
                if name not in self.errors:  # the form may have said already that it is needed
                    self.add_error(name if name in self.fields else None, self._told(name, message))
        return typed

    def _told(self, name: str, message: str) -> str:
        """The message with its advice by the person's decimal mark; a designation keeps its own."""
        if any(one.name == name and one.kind in {"text", "choice"} for one in self.topic.arguments):
            return message
        return ADVICE.sub(lambda found: in_marks_of(found[0], self.decimal_mark), message)

    @property
    def known(self) -> list[tuple[str, Sequence[str]]]:
        """What the fields that take a name know, for the lists that a browser offers."""
        return [
            (f"{one.name}_known", one.choices())
            for one in self.topic.arguments
            if one.kind == "text" and one.choices is not None
        ]

    @property
    def typed(self) -> list[tuple[str, list[str]]]:
        """What was typed, field by field in its lines, for the sheet on paper."""
        given = [(one.label, str(self.data.get(one.name, "")).strip()) for one in self.topic.arguments]
        return [(label, text.splitlines()) for label, text in given if text]


def _field(one: Argument, mark: str) -> forms.Field:
    # Every field may come empty here: the reader says what is needed, with an example.
    if one.kind == "choice" and one.choices is not None:
        first = [] if one.default else [("", "choose" if one.required else "not given")]
        made: forms.Field = forms.ChoiceField(choices=[*first, *((word, word) for word in one.choices())])
        made.validators, made.initial = [], one.default
    elif one.lines:
        made = forms.CharField(widget=forms.Textarea, max_length=LONGEST)
    else:
        made = forms.CharField(max_length=60)
        if one.choices is not None:
            made.widget.attrs["list"] = f"{one.name}_known"
    made.label = one.label
    such_as = example_of(one, mark).partition("\n")[0]
    help_text = one.help if one.kind in {"text", "choice"} else in_marks_of(one.help, mark)
    made.help_text = help_text or (f"Such as {such_as}." if such_as and one.kind != "choice" else "")
    made.required = one.required
    if one.kind != "choice" and not one.lines and one.default:
        made.initial = in_marks_of(one.default, mark)
    made.error_messages["required"] = f"This is needed. Write it like {such_as}."
    return made
