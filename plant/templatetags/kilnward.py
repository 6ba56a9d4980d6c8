"""How figures look, and where one is: filters and tags that every page shares."""

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

from django import template
from django.template.base import FilterExpression, NodeList, Parser, Token
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html

from plant.background.seen import idle_since
from plant.frame.figures import DASH, fixed, percent, quantity, span
from plant.people.working_week import say_weekdays
from plant.words.purposes import purposes

register = template.Library()
register.filter(quantity)
register.filter(fixed)
register.filter(percent)
register.filter(span)


@register.simple_tag(takes_context=True)
def money(context: Mapping[str, Any], value: Decimal | None, decimals: int = 0) -> str:
    """Show an amount with the mill's currency."""
    mill = context.get("mill")
    return DASH if value is None else f"{fixed(value, decimals)} {mill.currency if mill else ''}".strip()


@register.filter
def each(things: Iterable[Any], attribute: str) -> list[Any]:
    """Take one attribute of each thing, as a template would: orders|each:"kiln.tag"|join:", "."""
    wanted = template.Variable(f"thing.{attribute}")
    return [wanted.resolve({"thing": thing}) for thing in things]


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
