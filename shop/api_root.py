"""The root of the REST API: adds routers, by name where they stand in an upper app, and nothing else."""

from ninja import NinjaAPI

from shop.auth import BearerToken, SessionWithCsrf
from shop.problems import add_handlers

api = NinjaAPI(
    title="Layshaft",
    version="1",
    description="The working record and the calculating head of a shop that rebuilds gearboxes.",
    urls_namespace="api-1",
    auth=[BearerToken(), SessionWithCsrf()],
    docs_url="/docs",
    openapi_url="/openapi.json",
)
add_handlers(api)
api.add_router("", "shop.api.door")
api.add_router("/tickets", "shop.api.tickets")
api.add_router("/tickets", "inspections.api.tickets")
api.add_router("/tickets", "inspections.guiding.changing_api.tickets")
api.add_router("/tickets", "inspections.bench.live_api.tickets")
api.add_router("/tickets", "estimates.api.tickets")
api.add_router("/examinations", "inspections.api.examinations")
api.add_router("/gauges", "inspections.gauging.api.gauges")
api.add_router("/examinations", "inspections.bench.live_api.examinations")
api.add_router("/tickets", "inspections.evidence.photograph_api.tickets")
api.add_router("/tickets", "inspections.evidence.answer_api.tickets")
api.add_router("/examinations", "inspections.evidence.photograph_api.examinations_api")
api.add_router("/examinations", "inspections.evidence.answer_api.examinations_api")
api.add_router("/photographs", "inspections.evidence.photograph_api.photographs")
api.add_router("/reports", "inspections.evidence.answer_api.reports")
api.add_router("/price-files", "inventory.api.price_files")
api.add_router("/prices", "inventory.api.prices")
api.add_router("/stock", "inventory.api.stock")
api.add_router("/handbook", "shop.topics.api.handbook")
