"""Bench, one of the four apps."""

from django.apps import AppConfig


class InspectionsConfig(AppConfig):
    name = "inspections"
    verbose_name = "Bench"

    def ready(self) -> None:
        from inspections.building.building import hindrances_to_built, hindrances_to_tested
        from inspections.building.reworking import hindrances_to_reworked
        from inspections.donors.piece_readings import readings_of
        from inspections.guiding.guides import read_newest_guides
        from inspections.readings.counting import raise_counter_of_piece
        from inspections.readings.examining import open_ends
        from inventory.pieces import WHEN_CHANGED
        from inventory.shown import READINGS
        from shop.outbox import RULES
        from shop.stages import GATES
        from shop.warming import WARM

        gates = {
            "examined": open_ends,
            "reworked": hindrances_to_reworked,
            "built": hindrances_to_built,
            "tested": hindrances_to_tested,
        }
        for stage, gate in gates.items():
            if gate not in GATES[stage]:
                GATES[stage].append(gate)
        if raise_counter_of_piece not in WHEN_CHANGED:
            WHEN_CHANGED.append(raise_counter_of_piece)
        if readings_of not in READINGS:
            READINGS.append(readings_of)
        if read_newest_guides not in WARM:
            WARM.append(read_newest_guides)
        RULES["print build sheet"] = "inspections.building.sheets.print_sheet"
        RULES["queue due gauges"] = "inspections.gauging.reminders.queue_due_gauges"
        RULES["send gauge reminder"] = "inspections.gauging.reminders.send_gauge_reminder"
        RULES["print examination report"] = "inspections.evidence.reporting.print_report"
