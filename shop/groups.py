"""Roles as groups. A right is a permission of shop.User's Meta, so that every app asks for it by one name."""

from typing import Any

FRONT_DESK = "front desk"
TECHNICIAN = "technician"
LEAD = "lead technician"
STORES = "stores"
MANAGER = "manager"
OWNER = "owner"

# right -> what it lets a person do; kept short, asked for by name in access gates
RIGHTS = {
    "see_tickets": "see tickets and their papers",
    "open_tickets": "open tickets, take photographs, hand over",
    "record_readings": "record readings and rework",
    "settle_disputes": "settle disputed readings",
    "see_stock": "see parts, pieces and stock",
    "keep_stock": "receive, issue and adjust stock",
    "see_prices": "see what the shop pays",
    "send_quotes": "plan and send quotes",
    "build_units": "work from and fill in the build sheet",
    "see_office": "see the office: stages, costs and margins",
    "keep_office": "rates, guides and people",
}
GROUPS: dict[str, tuple[str, ...]] = {
    FRONT_DESK: ("see_tickets", "open_tickets", "send_quotes", "see_stock"),
    TECHNICIAN: ("see_tickets", "record_readings", "build_units", "see_stock"),
    LEAD: ("see_tickets", "record_readings", "settle_disputes", "build_units", "see_stock"),
    STORES: ("see_tickets", "see_stock", "keep_stock", "see_prices"),
    MANAGER: (
        "see_tickets",
        "open_tickets",
        "see_stock",
        "keep_stock",
        "see_prices",
        "send_quotes",
        "see_office",
        "keep_office",
    ),
    OWNER: tuple(RIGHTS),
}


def make_groups(using: str = "default", **_: Any) -> None:
    """Bring groups and their rights to what stands above; people in them are left alone."""
    from django.apps import apps
    from django.contrib.auth.management import create_permissions
    from django.contrib.auth.models import Group, Permission

    create_permissions(apps.get_app_config("shop"), verbosity=0, using=using)
    rights = {
        one.codename: one
        for one in Permission.objects.using(using).filter(
            content_type__app_label="shop", content_type__model="user", codename__in=RIGHTS
        )
    }
    for name, codes in GROUPS.items():
        group, _made = Group.objects.using(using).get_or_create(name=name)
        group.permissions.set([rights[code] for code in codes])
