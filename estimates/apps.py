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
        for stage, gate in (("agreed", gates.accepted_quote), ("parts complete", gates.promised_parts)):
            if gate not in stages.GATES[stage]:
                stages.GATES[stage].append(gate)
