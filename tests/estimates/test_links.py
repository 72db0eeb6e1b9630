"""The customer's link opens one quote, for that purpose, for so long, and only once it was sent."""

from datetime import timedelta

import pytest

from estimates.links import PURPOSE, path_of_quote, quote_of_link
from shop import clock
from shop.access import NotThere
from shop.links import sign
from tests.conftest import Cast
from tests.estimates.making import drawn_up, examined, seals, sent, used_shaft

pytestmark = pytest.mark.django_db


def token_of(path: str) -> str:
    return path.rsplit("/", 1)[1]


def test_a_link_opens_its_quote_and_no_altered_one_does(cast: Cast) -> None:
    ticket = examined(cast.actor("technician"))
    used_shaft()
    seals(1)
    quote = sent(ticket, cast.actor("manager"))
    token = token_of(path_of_quote(quote))
    assert quote_of_link(token) == quote
    for wrong in (token[:-1], token + "A", "x" + token, "", "~", "é", token.swapcase(), "A" * 5000):
        with pytest.raises(NotThere):
            quote_of_link(wrong)
    with pytest.raises(NotThere):
        quote_of_link(sign("warranty", quote.nonce))
    with pytest.raises(NotThere):
        quote_of_link(sign(PURPOSE, "another nonce"))


def test_a_link_ends(cast: Cast) -> None:
    ticket = examined(cast.actor("technician"))
    used_shaft()
    seals(1)
    token = token_of(path_of_quote(sent(ticket, cast.actor("manager"))))
    with clock.shifted(timedelta(days=119)):
        assert quote_of_link(token).ticket == ticket
    with clock.shifted(timedelta(days=121)), pytest.raises(NotThere):
        quote_of_link(token)


def test_a_draft_has_no_page(cast: Cast) -> None:
    ticket = examined(cast.actor("technician"))
    used_shaft()
    seals(1)
    token = token_of(path_of_quote(drawn_up(ticket, cast.actor("manager"))))
    with pytest.raises(NotThere):
        quote_of_link(token)
