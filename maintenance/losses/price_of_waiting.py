"""The price of waiting with a defect: kinds of loss, and what each takes for granted.

Each kind is a frozen dataclass of assumptions with ranges; ``price`` of ``waiting_loss`` says kWh, m3 and money a day.
"""

from maintenance.losses.waiting_drying import ColdSide, LessAir, WarmWetBulb
from maintenance.losses.waiting_heat import (
    BarePipe,
    DoorGap,
    OpenDoor,
    OpenFlap,
    PoorWall,
    SteamLeak,
    Threshold,
    WaterLeak,
)
from maintenance.losses.waiting_loss import Assumptions

KINDS: dict[str, type[Assumptions]] = {
    "door_gap": DoorGap,
    "threshold": Threshold,
    "open_door": OpenDoor,
    "open_flap": OpenFlap,
    "poor_wall": PoorWall,
    "bare_pipe": BarePipe,
    "steam_leak": SteamLeak,
    "water_leak": WaterLeak,
    "warm_wet_bulb": WarmWetBulb,
    "less_air": LessAir,
    "cold_side": ColdSide,
}

# Which loss a failure mode of the catalogue most likely causes. Ours; whoever prices a defect may choose another.
_BY_FAILURE_MODE = {
    "threshold-broken": "threshold",
    "threshold-dirty": "threshold",
    "threshold-seal-flat": "threshold",
    "door-stop-missing": "open_door",
    "coil-fins-blocked": "cold_side",
    "coil-waterlogged": "cold_side",
    "trap-blocked": "cold_side",
    "line-insulation-missing": "bare_pipe",
    "trap-blows": "steam_leak",
}
_BY_KIND = {
    "inner-skin": "poor_wall",
    "outer-skin": "poor_wall",
    "wall-insulation": "poor_wall",
    "main-door": "door_gap",
    "door-seal": "door_gap",
    "escape-door": "door_gap",
    "door-threshold": "threshold",
    "door-hanger": "door_gap",
    "supply-flap": "open_flap",
    "exhaust-flap": "open_flap",
    "flap-drive": "open_flap",
    "fan": "less_air",
    "fan-motor": "less_air",
    "baffle": "less_air",
    "stack-space": "less_air",
    "psychrometer": "warm_wet_bulb",
    "humidity-sensor": "warm_wet_bulb",
    "emc-plate": "warm_wet_bulb",
    "heating-coil": "cold_side",
}
# What leaks where a kiln is heated by steam, and where by anything else.
_LEAKING_KINDS = {"heating-valve", "heating-line", "heating-coil", "steam-trap"}
_LEAKS = {"heating-valve-leaks", "heating-valve-packing", "line-flange-leaks", "coil-leaks"}


def proposed_kind(failure_mode: str, component_kind: str, *, is_steam: bool) -> str | None:
    """Propose the kind of loss for a defect from the catalogue's codes.

    Parameters
    ----------
    failure_mode, component_kind : str
        Codes of the catalogue; empty where they are not known.
    is_steam : bool
        Whether the kiln is heated by steam.

    Returns
    -------
    str or None
        A key of ``KINDS``; None where nothing suggests itself.
    """
    if failure_mode in _BY_FAILURE_MODE:
        return _BY_FAILURE_MODE[failure_mode]
    leak = "steam_leak" if is_steam or component_kind == "steam-trap" else "water_leak"
    if failure_mode in _LEAKS:
        return leak
    if component_kind in _BY_KIND:
        return _BY_KIND[component_kind]
    return leak if component_kind in _LEAKING_KINDS else None
