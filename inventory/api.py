"""The API of inventory."""

from ninja import Router

price_files = Router(tags=["price-files"])
prices = Router(tags=["prices"])
stock = Router(tags=["stock"])
