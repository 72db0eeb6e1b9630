"""The API of inspections."""

from ninja import Router

tickets = Router(tags=["tickets"])
examinations = Router(tags=["examinations"])
