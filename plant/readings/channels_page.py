"""The channels of kilns: what is measured where."""

from django.contrib import messages
from django.db.models import Count, OuterRef, Q, Subquery
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from plant.access import needs
from plant.basics.periods import from_epoch_s
from plant.frame.requests import refusal_on, user_of
from plant.models import Change, Channel, Kiln, Reading
from plant.readings import sources as act
from plant.readings.forms import ChannelForm, CopyChannelsForm, NewChannelForm
from plant.readings.unit_labels import kept_unit_label


@needs("see readings")
def kilns(request: HttpRequest) -> HttpResponse:
    """Show how many channels each kiln has."""
    used = Count("channels", filter=Q(channels__is_active=True))
    found = Kiln.objects.in_use().annotate(used=used, off=Count("channels") - used)
    without = found.filter(used=0).count()
    return render(request, "readings/channels_of_kilns.html", {"place": "kilns", "kilns": found, "without": without})


@needs("see readings")
def channels(request: HttpRequest, tag: str) -> HttpResponse:
    """Show what is measured in a kiln."""
    return _page(request, get_object_or_404(Kiln, tag=tag))


def _page(
    request: HttpRequest, kiln: Kiln, new_form: NewChannelForm | None = None, copy_form: CopyChannelsForm | None = None
) -> HttpResponse:
    found = list(
        Channel.objects.filter(kiln=kiln)
        .select_related("kiln", "component")
        .order_by("-is_active", "quantity", "place")
    )
    last = _last_heard(found)
    rows = [{"channel": one, "unit": kept_unit_label(one.quantity), "last_at": last.get(one.pk)} for one in found]
    copy_form = copy_form or CopyChannelsForm(kiln=kiln)
    context = {
        "place": "kilns",
        "kiln": kiln,
        "rows": rows,
        "used": sum(1 for one in found if one.is_active),
        "new_form": new_form or NewChannelForm(),
        "copy_form": copy_form,
        "may_copy": copy_form.fields["other"].queryset.exists(),  # type: ignore[attr-defined]
    }
    return render(request, "readings/channels.html", context)


def _last_heard(channels: list[Channel]) -> dict[int, object]:
    """Return the instant of each channel's last reading: one step in the index for each."""
    if not channels:
        return {}
    last = Reading.objects.filter(channel_id=OuterRef("pk")).order_by("-at_s").values("at_s")[:1]
    found = Channel.objects.filter(pk__in=[one.pk for one in channels]).annotate(last_s=Subquery(last))
    return {pk: from_epoch_s(at_s) for pk, at_s in found.values_list("pk", "last_s") if at_s is not None}


@needs("edit sources")
@require_POST
def add(request: HttpRequest, tag: str) -> HttpResponse:
    """Give a kiln a channel."""
    kiln, form = get_object_or_404(Kiln, tag=tag), NewChannelForm(request.POST)
    if form.is_valid():
        with refusal_on(form):
            made = act.add_channels(kiln, **form.cleaned_data, by=user_of(request))
            _say_made(request, len(made))
            return redirect("plant:channels", tag)
    return _page(request, kiln, new_form=form)


@needs("edit sources")
@require_POST
def copy(request: HttpRequest, tag: str) -> HttpResponse:
    """Give a kiln the channels of another one."""
    kiln = get_object_or_404(Kiln, tag=tag)
    form = CopyChannelsForm(request.POST, kiln=kiln)
    if not form.is_valid():
        return _page(request, kiln, copy_form=form)
    made = act.copy_channels(kiln, form.cleaned_data["other"], by=user_of(request))
    _say_made(request, len(made))
    return redirect("plant:channels", tag)


def _say_made(request: HttpRequest, count: int) -> None:
    messages.success(request, ngettext("%d channel is on record.", "%d channels are on record.", count) % count)


@needs("edit sources")
def edit(request: HttpRequest, tag: str, pk: int) -> HttpResponse:
    """Change a channel or switch it off."""
    channel = get_object_or_404(Channel.objects.select_related("kiln"), kiln__tag=tag, pk=pk)
    form = ChannelForm(request.POST if request.method == "POST" else None, instance=channel)
    if form.keep(request, act.edit_channel, _("The channel is changed.")):
        return redirect("plant:channels", tag)
    context = {
        "place": "kilns",
        "channel": channel,
        "kiln": channel.kiln,
        "form": form,
        "changes": Change.objects.about(channel).order_by("-at", "-id")[:30],
    }
    return render(request, "readings/channel_form.html", context)
