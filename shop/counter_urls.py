"""Addresses of the Counter."""

from django.urls import path

from shop import counter_deeds, counter_views

urlpatterns = [
    path("", counter_views.counter, name="counter"),
    path("open", counter_views.open_ticket, name="open_ticket"),
    path("to-ring", counter_views.to_ring, name="to_ring"),
    path("reminders/<int:pk>/rung", counter_deeds.rung, name="reminder_rung"),
    path("documents/<uuid:pk>", counter_views.document, name="document"),
    path("tickets/<int:number>", counter_views.ticket, name="ticket"),
    path("tickets/<int:number>/hand-over", counter_deeds.hand_over, name="hand_over"),
    path("tickets/<int:number>/move", counter_deeds.move, name="move_ticket"),
    path("tickets/<int:number>/hold", counter_deeds.hold, name="hold_ticket"),
    path("tickets/<int:number>/lift", counter_deeds.lift, name="lift_hold"),
    path("tickets/<int:number>/time", counter_deeds.time, name="book_time"),
    path("tickets/<int:number>/photographs", counter_deeds.photographs, name="add_photographs"),
]
