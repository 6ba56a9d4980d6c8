"""How figures look, and where one is: filters and tags that every page shares."""

from collections.abc import Mapping
from datetime import timedelta
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django import template
from django.template.base import FilterExpression, NodeList, Parser, Token
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import number_format
from django.utils.html import format_html
from django.utils.translation import gettext as _

from plant.background.seen import idle_since
from plant.people.working_week import say_weekdays
from plant.words.purposes import purposes

register = template.Library()
DASH = "–"


@register.filter
def quantity(value: Decimal | int | None, decimals: int = 3) -> str:
    """Show a number with at most so many decimals and no idle zeros; None as a dash."""
    if value is None:
        return DASH
    rounded = round(Decimal(value), decimals).normalize()
    # normalize() turns 40 into 4E+1
    shown = rounded.quantize(Decimal(1)) if rounded == rounded.to_integral_value() else rounded
    return str(number_format(shown, force_grouping=abs(shown) >= 1000))


@register.filter
def fixed(value: Decimal | float | int | None, decimals: int = 1) -> str:
    """Show a number with exactly so many decimals; None as a dash."""
    if value is None:
        return DASH
    unit = Decimal(1).scaleb(-decimals)
    shown = Decimal(str(value)).quantize(unit, rounding=ROUND_HALF_UP)
    return str(number_format(shown, decimal_pos=decimals, force_grouping=abs(shown) >= 1000))


@register.filter
def percent(share: Decimal | float | None, decimals: int = 1) -> str:
    """Show a share of 1 as per cent; None as a dash."""
    return DASH if share is None else f"{fixed(Decimal(str(share)) * 100, decimals)} %"


@register.simple_tag(takes_context=True)
def money(context: Mapping[str, Any], value: Decimal | None, decimals: int = 0) -> str:
    """Show an amount with the mill's currency."""
    mill = context.get("mill")
    return DASH if value is None else f"{fixed(value, decimals)} {mill.currency if mill else ''}".strip()


@register.filter
def span(value: timedelta | None) -> str:
    """Show a length of time in the largest two units: 3 d 4 h, 6 h 40, 25 min."""
    return DASH if value is None else span_of_minutes(int(value.total_seconds() // 60))


def span_of_minutes(minutes: int) -> str:
    """Say a number of minutes in the largest two units."""
    days, hours, rest = minutes // 1440, minutes // 60 % 24, minutes % 60
    if days:
        return _("%(days)d d %(hours)d h") % {"days": days, "hours": hours}
    if hours:
        return _("%(hours)d h %(minutes)02d") % {"hours": hours, "minutes": rest} if rest else _("%d h") % hours
    return _("%d min") % rest


@register.filter
def weekdays(names: str) -> str:
    """Say the weekdays of a shift: MO,TU,WE,TH,FR as Monday to Friday."""
    return say_weekdays(names)


@register.filter
def allowed(user: Any, act: str) -> bool:
    """Say whether a user may do an act of the table of access."""
    return bool(getattr(user, "is_authenticated", False)) and user.may(act)


class PlaceNode(template.Node):
    """A link of the frame that knows whether one stands there."""

    def __init__(self, name: FilterExpression, act: FilterExpression, place: FilterExpression, inner: NodeList) -> None:
        self.name, self.act, self.place, self.inner = name, act, place, inner

    def render(self, context: template.Context) -> str:
        """Render the link, or nothing where the user may not go."""
        if not allowed(context.get("user"), self.act.resolve(context)):
            return ""
        here = format_html(' aria-current="{}"', "page") if context.get("place") == self.place.resolve(context) else ""
        url = reverse(self.name.resolve(context))
        return format_html('<a href="{}"{}>{}</a>', url, here, self.inner.render(context))


@register.tag("place")
def do_place(parser: Parser, token: Token) -> PlaceNode:
    """{% place URL_NAME ACT PLACE %}word{% endplace %}: ``place`` in the context says where one stands."""
    parts = token.split_contents()
    if len(parts) != 4:
        raise template.TemplateSyntaxError("place takes a url name, an act and a place")
    inner = parser.parse(("endplace",))
    parser.delete_first_token()
    name, act, place = (parser.compile_filter(part) for part in parts[1:])
    return PlaceNode(name, act, place, inner)


@register.inclusion_tag("words/purpose.html", takes_context=True)
def purpose(context: Mapping[str, Any]) -> dict[str, Any]:
    """Say in one line what the page is for, folded where the reader has folded it before."""
    request = context.get("request")
    match, user = getattr(request, "resolver_match", None), context.get("user")
    page = match.view_name if match else ""
    if user is None or not user.is_authenticated:
        return {"page": page, "purpose": "", "is_known": False}
    return {"page": page, "purpose": purposes().get(page, ""), "is_known": page in user.known_pages}


@register.inclusion_tag("background/no_work_done.html", takes_context=True)
def no_work_done(context: Mapping[str, Any]) -> dict[str, Any]:
    """Say loudly that nobody does the background work, once it has been so for ten minutes."""
    return {"idle_at": idle_since(timezone.now()), "user": context.get("user")}
