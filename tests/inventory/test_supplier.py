"""``manage.py supplier``: a supplier with its user, once; then its token can be made."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from inventory.models import Supplier
from shop.models import Audit, Token
from tests.conftest import Cast

pytestmark = pytest.mark.django_db


def said(*words: str) -> str:
    out = StringIO()
    call_command(*words, stdout=out)
    return out.getvalue()


def test_a_supplier_is_added_and_gets_its_token(cast: Cast) -> None:
    with pytest.raises(CommandError, match=r"python manage\.py supplier NEWS NAME CURRENCY"):
        said("token", "--supplier", "NEWS")
    answer = said("supplier", "NEWS", "News of Brass (invented)", "gbp", "--lead-days", "9")
    assert "manage.py token --supplier NEWS" in answer
    made = Supplier.objects.get(code="NEWS")
    assert (made.name, made.currency, made.lead_days) == ("News of Brass (invented)", "GBP", 9)
    assert not made.user.has_usable_password()
    assert Audit.objects.filter(deed="added").exists()
    assert said("token", "--supplier", "NEWS").strip()
    assert Token.objects.get().user == made.user


@pytest.mark.parametrize(
    ("words", "trouble"),
    [
        (("TARN", "Tarn again", "EUR"), "already"),
        (("tarn", "Tarn again", "EUR"), "already"),
        (("A B", "Two words", "EUR"), "letters, figures and hyphens"),
        (("NEWS", " ", "EUR"), "supplier's name"),
        (("NEWS", "News", "EURO"), "three letters"),
        (("NEWS", "News", "EUR", "--lead-days", "-1"), "0 to 365"),
    ],
)
def test_what_cannot_be_a_supplier(cast: Cast, words: tuple[str, ...], trouble: str) -> None:
    before = Supplier.objects.count()
    with pytest.raises(CommandError, match=trouble):
        said("supplier", *words)
    assert Supplier.objects.count() == before
