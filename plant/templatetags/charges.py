"""What pages of charges need in their addresses."""

from datetime import datetime

from django import template
from django.urls import reverse
from django.utils.http import urlencode

from plant import clock
from plant.charges.claims import Disagreement, disagreements
from plant.charges.proposals import Proposal, proposals
from plant.models import Kiln

register = template.Library()


@register.simple_tag
def plan_here(kiln: Kiln, from_at: datetime) -> str:
    """{% plan_here kiln gap.begin_at %}: where a charge is planned in a kiln from an instant on."""
    return f"{reverse('plant:charge-plan')}?{urlencode({'kiln': kiln.tag, 'from': from_at.isoformat()})}"


@register.simple_tag
def climate_proposal(kiln: Kiln) -> Proposal | None:
    """{% climate_proposal kiln as proposal %}: what its readings propose to tell of its charge; None where nothing."""
    return proposals([kiln], clock.now()).get(kiln.pk)


@register.simple_tag
def charge_disagreements(kiln: Kiln) -> list[Disagreement]:
    """{% charge_disagreements kiln as disagreements %}: where another source says something else of its charges."""
    return disagreements([kiln]).get(kiln.pk, [])
