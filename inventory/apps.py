"""Stores, one of the four apps."""

from django.apps import AppConfig


class InventoryConfig(AppConfig):
    name = "inventory"
    verbose_name = "Stores"

    def ready(self) -> None:
        from inventory.purchasing import awaited_parts
        from shop.outbox import RULES
        from shop.stages import GATES

        RULES["read price file"] = "inventory.feeds.read_price_file"
        if awaited_parts not in GATES["parts complete"]:
            GATES["parts complete"].append(awaited_parts)
