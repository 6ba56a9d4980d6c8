"""What the API answers where something is wrong: always JSON, with a message that says what to do."""

import logging
from collections.abc import Mapping, Sequence

from django.db import InterfaceError, OperationalError
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from ninja import NinjaAPI
from ninja.errors import AuthenticationError

logger = logging.getLogger(__name__)

BEARER = {"WWW-Authenticate": 'Bearer realm="readings"'}
SEND_AGAIN_AFTER_S = 5


class ApiFault(Exception):  # noqa: N818  what is wrong with a request, not an error of the program
    """Raised to answer with a status and a message; ``faults`` are (place in the list, what), ``count`` is how many."""

    def __init__(
        self,
        status: int,
        message: str,
        faults: Sequence[tuple[int | None, str]] = (),
        count: int = 0,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(message)
        self.status = status
        self.message = message
        self.faults = faults
        self.count = count or len(faults)
        self.headers = headers or {}

    def answer(self) -> HttpResponse:
        """Return the answer."""
        faults = [{"index": index, "message": what} for index, what in self.faults]
        body = {"message": self.message, "faults": faults, "fault_count": self.count}
        return JsonResponse(body, status=self.status, headers=dict(self.headers))


def database_is_away() -> ApiFault:
    """Return what is answered while the database is away: when to come again."""
    message = "The database does not answer or is busy. Nothing was stored: send the same again in a while."
    return ApiFault(503, message, headers={"Retry-After": str(SEND_AGAIN_AFTER_S)})


def answer_faults(api: NinjaAPI) -> None:
    """Let every fault of an API's views be answered by JSON."""

    @api.exception_handler(ApiFault)
    def known(request: HttpRequest, fault: ApiFault) -> HttpResponse:
        return fault.answer()

    @api.exception_handler(AuthenticationError)
    def no_token(request: HttpRequest, fault: AuthenticationError) -> HttpResponse:
        message = "The token is missing: send the header “Authorization: Bearer TOKEN”."
        return ApiFault(401, message, headers=BEARER).answer()

    @api.exception_handler(Http404)
    def nothing_here(request: HttpRequest, fault: Http404) -> HttpResponse:
        return ApiFault(404, "There is nothing at this address: see api/openapi.json.").answer()

    @api.exception_handler(OperationalError)
    @api.exception_handler(InterfaceError)
    def database_away(request: HttpRequest, fault: Exception) -> HttpResponse:
        logger.warning("Readings were not stored: %s", fault)
        return database_is_away().answer()

    @api.exception_handler(Exception)
    def unforeseen(request: HttpRequest, fault: Exception) -> HttpResponse:
        logger.exception("The API failed at %s %s.", request.method, request.path, exc_info=fault)
        return ApiFault(500, "The program failed; its log says why. Nothing was stored.").answer()
