"""Root of all addresses."""

from django.contrib.auth import views as auth_views
from django.contrib.auth.decorators import login_not_required
from django.urls import URLPattern, URLResolver, include, path

from config import views
from config.sign_in import SignInView
from plant.readings.api.app import urls as api_urls

urlpatterns: list[URLPattern | URLResolver] = [
    path("", views.home, name="home"),
    path("help/", views.help_page, name="help"),
    path("sign-in/", SignInView.as_view(), name="sign-in"),
    path("sign-out/", auth_views.LogoutView.as_view(), name="sign-out"),
    # A browser's PDF viewer asks here, whatever the page says.
    path("favicon.ico", login_not_required(views.icon), name="icon"),
    path("alive/", login_not_required(views.alive), name="alive"),
    path("api/", api_urls()),
    path("", include("plant.urls")),
    path("", include("inventory.urls")),
    path("", include("maintenance.urls")),
]

handler400 = "config.views.bad_request"
handler403 = "config.views.permission_denied"
handler404 = "config.views.page_not_found"
handler500 = "config.views.server_error"
