"""What every template may ask for."""

from typing import Any

from django.http import HttpRequest

from plant import clock


def mill(request: HttpRequest) -> dict[str, Any]:
    """Return the mill and its present."""
    return {"mill": getattr(request, "mill", None), "now_at": clock.now()}
