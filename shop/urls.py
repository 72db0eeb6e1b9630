"""The front door. Each place is included by name, so that no lower app imports an upper one."""

from django.contrib.auth.decorators import login_required
from django.urls import include, path

from shop import views
from shop.api_root import api
from shop.specimen import specimen

urlpatterns = [
    path("", views.home, name="home"),
    path("sign-in", views.SignIn.as_view(), name="sign_in"),
    path("sign-out", views.SignOut.as_view(), name="sign_out"),
    path("scheme", views.choose_scheme, name="scheme"),
    path("specimen", login_required(specimen), name="specimen"),
    path("counter/", include("shop.counter_urls")),
    path("", include("inspections.bench.root_urls")),
    path("bench/", include("inspections.bench.urls")),
    path("stores/", include("inventory.urls")),
    path("office/", include("estimates.urls")),
    path("quote/", include("estimates.public_urls")),
    path("handbook/", include("shop.topics.urls")),
    path("api/v1/", api.urls),
]
handler403 = "shop.views.forbidden"
