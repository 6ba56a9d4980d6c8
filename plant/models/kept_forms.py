"""What somebody typed into a form that could not be taken because the sign-in had run out."""

from django.conf import settings
from django.db import models


class KeptForm(models.Model):
    """The fields of a form that was sent and not stored: theirs alone who opened its page, and only for a shift."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    page = models.CharField(max_length=500)
    address = models.CharField(max_length=500)
    fields = models.JSONField()
    has_file = models.BooleanField(default=False)
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at", "-id"]
        # Serves the look for kept words when somebody signs in.
        indexes = [models.Index(fields=["user", "at"], name="kept_form_by_user")]

    def __str__(self) -> str:
        return f"{self.user_id} {self.address}"
