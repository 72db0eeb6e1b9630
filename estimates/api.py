"""The API of estimates."""

from ninja import Router

tickets = Router(tags=["tickets"])
