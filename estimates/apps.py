"""Office, one of the four apps."""

from django.apps import AppConfig


class EstimatesConfig(AppConfig):
    name = "estimates"
    verbose_name = "Office"

    def ready(self) -> None:
        from estimates import gates
        from shop import outbox, stages

        outbox.RULES |= {
            "print quote": "estimates.papers.print_quote",
            "mail quote": "estimates.papers.mail_quote",
            "mail acceptance": "estimates.papers.mail_acceptance",
            "lapse quotes": "estimates.accepting.lapse_quotes",
        }
        if gates.promised_parts not in stages.GATES["parts complete"]:
            stages.GATES["parts complete"].append(gates.promised_parts)
