"""Addresses of the Stores."""

from django.urls import include, path

from inventory import buying_views, feed_views, views

urlpatterns = [
    path("", views.stores, name="stores"),
    path("take-in", views.take_in, name="take_in"),
    path("donors/", include("inspections.donors.urls")),
    path("purchases", buying_views.purchases, name="purchases"),
    path("purchases/<int:pk>", buying_views.purchase, name="purchase"),
    path("price-files", feed_views.price_files, name="price_files"),
    path("price-files/<uuid:pk>", feed_views.price_file, name="price_file"),
    path("price-files/<uuid:pk>/refusals.csv", feed_views.refusals, name="price_file_refusals"),
    path("movements/<int:pk>/correct", views.correct, name="correct_movement"),
    path("pieces/<str:tag>", views.piece, name="piece"),
    path("parts/<path:number>", views.part, name="part"),
]
