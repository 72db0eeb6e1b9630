"""``manage.py token``: printed once, kept as a digest, and it opens what its user may."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from shop.models import Token
from tests.conftest import Cast

pytestmark = pytest.mark.django_db


def made(*words: str) -> str:
    out = StringIO()
    call_command("token", *words, stdout=out)
    return out.getvalue().strip()


def who(secret: str) -> tuple[int, str]:
    answer = Client().get("/api/v1/me", headers={"Authorization": f"Bearer {secret}"})
    return answer.status_code, str(answer.json().get("name", ""))


def test_a_persons_token(cast: Cast) -> None:
    secret = made("technician", "--label", "bench tablet")
    assert who(secret) == (200, "Rune Okafor")
    token = Token.objects.get()
    assert (token.label, token.user) == ("bench tablet", cast.technician)
    assert secret not in str(Token.objects.values())
    assert made("technician") != secret


@pytest.mark.parametrize("words", [["--supplier", "TARN"], ["TARN", "--supplier", "TARN"]])
def test_a_suppliers_token(cast: Cast, words: list[str]) -> None:
    assert who(made(*words)) == (200, "Tarn Gear Supply")


def test_names_that_are_none(cast: Cast) -> None:
    for words in (["nobody"], ["--supplier", "NONE"], [], ["technician", "--supplier", "TARN"]):
        with pytest.raises(CommandError):
            made(*words)
    cast.lead.is_active = False
    cast.lead.save()
    with pytest.raises(CommandError, match="not active"):
        made("lead")
    assert not Token.objects.exists()
