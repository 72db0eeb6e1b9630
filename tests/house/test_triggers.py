"""Append-only tables are held by the database itself, after all migrations."""

import pytest
from django.db import DatabaseError, connection, transaction

from shop import clock
from shop.access import PROGRAM
from shop.audit import write_line
from shop.models import Audit, Customer
from shop.triggers import append_only_tables

pytestmark = pytest.mark.django_db


def test_every_append_only_table_has_its_trigger() -> None:
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT DISTINCT tbl_name FROM sqlite_master WHERE type = 'trigger'")
        else:
            cursor.execute(
                "SELECT DISTINCT c.relname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
                "WHERE NOT t.tgisinternal"
            )
        guarded = {row[0] for row in cursor.fetchall()}
    assert guarded == set(append_only_tables())
    assert {"shop_audit", "inventory_movement", "inspections_reading", "shop_stagechange"} <= guarded


def test_a_line_is_neither_changed_nor_removed() -> None:
    customer = Customer.objects.create(name="A. Harrow (invented)")
    write_line(by=PROGRAM, deed="named", thing=customer, at=clock.now())
    line = Audit.objects.get()
    with pytest.raises(DatabaseError), transaction.atomic():
        Audit.objects.filter(pk=line.pk).update(deed="changed")
    with pytest.raises(DatabaseError), transaction.atomic():
        Audit.objects.filter(pk=line.pk).delete()
    line.refresh_from_db()
    assert line.deed == "named"
