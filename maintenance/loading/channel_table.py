"""The file of channels: what is measured in each kiln, and which component of it measures or is measured."""

from maintenance.loading.base import KILN, Table
from maintenance.loading.columns import Choice, Code, Flag, Ref, Whole
from plant.models import Channel

LONGEST_PLACE = 12


class ChannelTable(Table):
    """Channels."""

    name = "channels"
    meaning = (
        "One row for each thing that is measured in a kiln: its channels. Readings themselves come from loggers and "
        "controllers, not in these files."
    )
    model = Channel
    act = "edit sources"
    key = ("kiln", "quantity", "place")
    columns = (
        KILN,
        Choice("quantity", "what is measured", "wet_bulb", is_required=True, options=Channel.Quantity),
        Code("place", "left, right or a number where there are several", "left", default="", largest=LONGEST_PLACE),
        Ref("component", "tag of the component that measures it, or that it tells of", "", to="component"),
        Whole("every_s", "seconds from one reading to the next", "60", default=60, least="1", most="86400"),
        Flag("is_active", "in use?", "yes", default=True),
    )
