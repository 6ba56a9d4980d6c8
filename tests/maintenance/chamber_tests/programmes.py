"""Programmes of the simulated chamber for the tests that it runs on itself, empty."""

from typing import Final

from maintenance.demo.chamber.design import Drive, Heating, Stage

WARM_C, TEST_WET_C = 60.0, 47.0
"""Warm enough to stand far above outside, dry enough that nothing condenses on the inner skin."""
STILL_WET_C: Final = 41.0
"""Without fans the chamber cools meanwhile: drier."""


def tightness_stages(warm_h: float, decay_h: float, is_fans_on: bool, spray_h: float = 0.75) -> tuple[Stage, ...]:
    """Warm the empty chamber, spray it, then leave it alone with flaps shut; without fans the heating is off too."""
    warm = Stage("between", warm_h, WARM_C, heating=Heating.CONTROLLED, fans=True)
    wet_c = TEST_WET_C if is_fans_on else STILL_WET_C
    spray = Stage("between", spray_h, WARM_C, wet_c, Heating.CONTROLLED, spray=Drive.CONTROLLED, fans=True)
    heating = Heating.CONTROLLED if is_fans_on else Heating.OFF
    decay = Stage("between", decay_h, WARM_C, heating=heating, fans=is_fans_on)
    return (warm, spray, decay, Stage("between", 1))


def steady_power_stages(warm_h: float, hold_h: float) -> tuple[Stage, ...]:
    """Warm the empty chamber, fans on and flaps shut, and hold it."""
    return (
        Stage("between", warm_h, WARM_C, heating=Heating.CONTROLLED, fans=True),
        Stage("between", hold_h, WARM_C, heating=Heating.CONTROLLED, fans=True),
        Stage("between", 1),
    )


def cooling_stages(warm_h: float, cool_h: float) -> tuple[Stage, ...]:
    """Warm the empty chamber through, then let it cool with its fans on, flaps shut and heating off."""
    return (
        Stage("between", warm_h, WARM_C, heating=Heating.CONTROLLED, fans=True),
        Stage("between", cool_h, fans=True),
        Stage("between", 1),
    )
