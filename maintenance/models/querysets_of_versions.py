"""What many task sheets or check points can answer."""

from typing import Any

from django.db import models


class KeptQuerySet(models.QuerySet[Any]):
    """Task sheets or check points."""

    def in_use(self) -> "KeptQuerySet":
        """Those from which new work comes."""
        return self.filter(withdrawn_at__isnull=True)

    def shipped(self) -> "KeptQuerySet":
        """Those that come with the product."""
        return self.filter(is_own=False)
