"""The ground floor: people, customers, families, tickets, outbox, documents, warranty."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class ShopConfig(AppConfig):
    name = "shop"
    verbose_name = "Counter"

    def ready(self) -> None:
        from shop import groups, outbox, stages, triggers, warranty

        outbox.RULES |= {
            "make thumbnail": "shop.photographs.make_thumbnail",
            "print tag": "shop.tags.print_tag",
            "print warranty card": "shop.warranty.print_card",
            "queue due reminders": "shop.warranty.queue_due_reminders",
            "send reminder": "shop.warranty.send_reminder",
        }
        stages.GATES["handed over"].append(warranty.needs_warranty)

        # Django remakes a SQLite table when a field changes and its triggers vanish: make them again.
        post_migrate.connect(triggers.make_triggers, dispatch_uid="append-only triggers")
        post_migrate.connect(groups.make_groups, sender=self, dispatch_uid="groups")
