"""The demonstration's stock list: it fits the guide, adds up, and loading it twice changes nothing."""

import csv
import tomllib
from pathlib import Path
from typing import Any

import pytest

from inspections.document import Guide, read
from inventory.ledger import check_ledger, free_of_part
from inventory.manners import manner_from
from inventory.models import Bin, Lot, Measure, Movement, Part, PartFit, Piece, Supplier
from inventory.stocklist import load_stock_list
from shop.access import PROGRAM, Denied
from shop.models import Unit
from shop.refusals import Refusal
from tests import factories
from tests.conftest import Cast

ROOT = Path(__file__).resolve().parents[2] / "fixtures"
LIST: dict[str, Any] = tomllib.loads((ROOT / "stock" / "demonstration.toml").read_text())
GUIDE: dict[str, Any] = tomllib.loads((ROOT / "guides" / "hexworth_h4.toml").read_text())
MORE: dict[str, Any] = tomllib.loads((ROOT / "stock" / "lorry_shelves.toml").read_text())
# stock list -> the guide that its family stands in
LISTS = {
    "demonstration": "hexworth_h4",
    "lorry_shelves": "hexworth_h4",
    "calderby_d2": "calderby_dropbox",
    "wenfold_t3": "wenfold_tractor",
}


def both(name: str) -> tuple[dict[str, Any], Guide]:
    """A stock list and its guide."""
    stock, guide = (ROOT / "stock" / f"{name}.toml", ROOT / "guides" / f"{LISTS[name]}.toml")
    return tomllib.loads(stock.read_text()), read(tomllib.loads(guide.read_text()))


def publish_positions() -> None:
    family = factories.FamilyFactory.make()
    for one in GUIDE["position"]:
        factories.PositionFactory.make(family=family, code=one["code"], name=one["name"])
    for one in GUIDE["variant"]:
        factories.VariantFactory.make(family=family, code=one["code"], name=one["name"])


@pytest.mark.django_db
def test_the_list_is_loaded_and_twice_is_once() -> None:
    publish_positions()
    told = load_stock_list(data=LIST, by=PROGRAM)
    assert (told.suppliers, told.pieces) == (2, 15)
    models: tuple[Any, ...] = (Part, PartFit, Bin, Lot, Piece, Movement, Measure, Unit, Supplier)
    first = [model.objects.count() for model in models]
    assert load_stock_list(data=LIST, by=PROGRAM) == told
    assert [model.objects.count() for model in models] == first
    assert check_ledger() == []
    assert free_of_part(Part.objects.get(number="H4-INBRG-01")) == 2
    wheel = Piece.objects.free().get(position__code="W2M")
    assert (wheel.cost_minor, wheel.ran_in) == (6200, "donor HX4-00218")
    assert wheel.measures.get().value_um == pytest.approx(50_048)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("entry", "told"),
    [
        (
            {"part": [{"number": "X", "name": "x", "fits": ["NOPE"]}]},
            "X: the Hexworth H4 has no position NOPE",
        ),
        ({"lot": [{"key": "k", "part": "Y", "bin": "A", "quantity": 1, "cost": "1"}]}, "no part Y"),
        ({"supplier": [{"code": "S", "name": "s", "currency": "EUR", "manner": {"x": 1}}]}, "x is not known"),
    ],
)
def test_an_entry_that_cannot_be_used_loads_nothing(entry: dict[str, Any], told: str) -> None:
    publish_positions()
    with pytest.raises(Refusal, match=told):
        load_stock_list(data={"bin": [{"code": "A"}], **entry}, by=PROGRAM)
    assert not Bin.objects.exists()


@pytest.mark.django_db
def test_who_may(cast: Cast) -> None:
    with pytest.raises(Denied):
        load_stock_list(data={}, by=cast.actor("technician"))
    assert load_stock_list(data={}, by=cast.actor("stores")).parts == 0


@pytest.mark.parametrize("name", LISTS)
def test_parts_and_pieces_name_positions_and_features_of_the_guide(name: str) -> None:
    stock, guide = both(name)
    positions = {one.code for one in guide.positions}
    features = {one.code: one for one in guide.features}
    for part in stock["part"]:
        assert part.get("family", "H4") == guide.family or not part.get("fits")
        assert set(part.get("fits", ())) <= positions
        for code, (low, high) in part.get("features", {}).items():
            assert features[code].position in part["fits"]
            assert low < high
    for piece in stock.get("piece", ()):
        assert piece["position"] in positions
        assert all(features[code].position == piece["position"] for code, _, _ in piece.get("measures", ()))


@pytest.mark.parametrize(("name", "at_least"), [*zip(LISTS, (60, 10, 20, 15), strict=True)])
def test_a_new_part_is_within_the_new_limits_of_its_size(name: str, at_least: int) -> None:
    stock, guide = both(name)
    features = {one.code: one for one in guide.features}
    checked = 0
    for part in stock["part"]:
        for code, (low, high) in part.get("features", {}).items():
            new = features[code].limit(part.get("size", "standard")) or features[code].limits[0]
            assert new.new_min_mm - 0.0051 <= low < high <= new.new_max_mm + 0.0051, (part["number"], code)
            checked += 1
    assert checked > at_least


def test_every_position_can_be_filled_from_stock_or_a_supplier() -> None:
    fitted = {code for part in LIST["part"] + MORE["part"] for code in part.get("fits", ())}
    assert {one["code"] for one in GUIDE["position"]} <= fitted


def test_the_suppliers_files_are_in_the_manners_of_the_list() -> None:
    numbers = {part["number"] for part in LIST["part"]}
    tarn = manner_from(LIST["supplier"][0]["manner"])
    with (ROOT / "prices" / "tarn_gear_supply.csv").open(newline="") as file:
        rows = list(csv.DictReader(file, delimiter=tarn.delimiter))
    asked = {row[tarn.columns["part_number"]] for row in rows} - {""}
    assert asked == numbers
    with (ROOT / "prices" / "pellmoor_bearings.csv").open(newline="") as file:
        asked = {row["number"] for row in csv.DictReader(file)}
    assert len(asked & numbers) >= 8
