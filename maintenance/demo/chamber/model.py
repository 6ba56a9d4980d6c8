"""A small physical model of a kiln's climate, to try watches and tests on: many chambers at once, minute by minute.

The air is one well-mixed volume at the outer pressure: masses of dry air and of vapour, and its enthalpy. It meets the
timber (a shell that gives water to the air, and a core that gives it to the shell), the steel (all that follows the
air at once) and behind it the wall; outside air comes in through leak, flaps and door. Air that cannot stay at the
outer pressure leaves, and comes in when the chamber cools. A controller holds dry and wet bulb by heating valve, spray
and flaps; fans turn round every few hours.

Heat flows are solved implicitly and booked on both sides, so that heat and water balance to the last digits. What the
model leaves out: layers of air, several stacks, heat of sorption, the floor's slow depth.

Valves and flaps are read as the controller orders them; what they truly do stands in `ChamberRun.truth`.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from maintenance.demo.chamber.control import Controller, Stages
from maintenance.demo.chamber.design import Chamber, ChargePlan, Stage, Timber, charge_stages
from maintenance.demo.chamber.faults import Effects, Fault, FaultKind
from maintenance.demo.chamber.sensors import RAW, Sensors, read_channels
from maintenance.demo.chamber.states import (
    DRY_AIR_J_KG_K,
    LIQUID_J_KG_K,
    SHELL_SHARE,
    VAPOUR_AT_0_J_KG,
    VAPOUR_J_KG_K,
    AirNow,
    Books,
    ChamberRun,
    FabricNow,
    Numbers,
    TimberNow,
    charges_of,
    vapour_j_kg,
)
from maintenance.demo.chamber.tables import between, saturation_pa, wood_activity
from maintenance.demo.chamber.weather import HOUR_S, Weather
from plant.physics.drying_capacity import rate_ratio_at
from plant.physics.psychrometrics import DRY_AIR_GAS_CONSTANT_J_KG_K, STANDARD_PRESSURE_PA, WATER_TO_AIR_MASS_RATIO
from plant.physics.saturation import ZERO_C_K

VAPOUR_GAS_CONSTANT: Final = DRY_AIR_GAS_CONSTANT_J_KG_K / WATER_TO_AIR_MASS_RATIO
SURFACE_W_M2K: Final = 14.0
"""From air to boards at full flow. Usual value of textbooks, from memory."""
STEEL_W_M2K: Final = 12.0
DRY_SHELL_RESISTANCE: Final = 3.0
"""By how much a dry shell holds its water back over a wet surface. Ours."""
FIBRE_SATURATION: Final = 0.28
SPRAY_WATER_C, STEAM_J_KG = 12.0, 2.7e6
DOOR_AIR_CHANGES_PER_H: Final = 60.0
STILL_FLOW: Final = 0.04
MOST_FILM_KG: Final = 40.0
MIDDLE_RISE_K: Final = 40.0
THAWED_C: Final = 2.0
"""Ice in timber is left out: what comes in frozen counts as just thawed."""
# An enum looks its members up anew each time, and each step asks for them.
_FLAP_LEAKS, _FLAP_STUCK_OPEN, _FLAP_STUCK_SHUT, _DOOR_LEAK, _SPRAY_BLOCKED = (
    FaultKind.FLAP_LEAKS, FaultKind.FLAP_STUCK_OPEN, FaultKind.FLAP_STUCK_SHUT, FaultKind.DOOR_LEAK,
    FaultKind.SPRAY_BLOCKED,
)  # fmt: skip
_HEATING_VALVE_LEAKS, _HEATING_VALVE_STUCK, _COIL_FOULED = (
    FaultKind.HEATING_VALVE_LEAKS, FaultKind.HEATING_VALVE_STUCK, FaultKind.COIL_FOULED,
)  # fmt: skip
NO_TIMBER: Final = Timber(0.0, 0.0, 0.0, 0.0)
TEMPS_C: Final = np.arange(20.0, 100.5, 0.5)
RATE_RATIO: Final = rate_ratio_at(TEMPS_C, 60.0)


def simulate(
    chambers: Sequence[Chamber],
    begin_s: int,
    hours: float,
    faults: Sequence[Fault] = (),
    *,
    emit_s: int = 300,
    step_s: int = 60,
    weather: Weather | None = None,
) -> list[ChamberRun]:
    """Run chambers side by side; none of them feels how many stand beside it.

    Parameters
    ----------
    chambers : Sequence[Chamber]
    begin_s : int
        Seconds since 1970.
    hours : float
        Length of the run, above 0.
    faults : Sequence[Fault]
        What fails, in which of the chambers, and when.
    emit_s : int
        Seconds between readings, a multiple of the step.
    step_s : int
        Seconds of a step of the model, at most 120: above, the timber's shell would swing.
    weather : Weather, optional
        Outside air of one's own, a column for each chamber; None for what their ``weather_seed`` draws.

    Raises
    ------
    ValueError
        If a step or length is not allowed, or a fault names a chamber that is not there.
    RuntimeError
        If the state leaves what is physical (a fault of this program).
    """
    if not (0 < step_s <= 120 and emit_s >= step_s and emit_s % step_s == 0):
        raise ValueError(f"step {step_s} s is outside 1 to 120 s, or readings every {emit_s} s are no multiple of it")
    if not hours > 0:
        raise ValueError(f"length {hours:g} h is not above 0")
    strange = [fault for fault in faults if not 0 <= fault.kiln < len(chambers)]
    if strange:
        raise ValueError(f"fault of kiln {strange[0].kiln}, but there are {len(chambers)}")
    return _Run(chambers, begin_s, hours, faults, emit_s, step_s, weather).go()


def _columns(chambers: Sequence[Chamber], name: str) -> Numbers:
    return np.array([float(getattr(chamber.design, name)) for chamber in chambers])


class _Run:
    """The state of all chambers and one step after the other."""

    def __init__(
        self,
        chambers: Sequence[Chamber],
        begin_s: int,
        hours: float,
        faults: Sequence[Fault],
        emit_s: int,
        step_s: int,
        weather: Weather | None = None,
    ) -> None:
        self.chambers, self.begin_s, self.emit_s, self.dt = chambers, begin_s, emit_s, step_s
        self.steps, self.every = round(hours * HOUR_S / step_s), emit_s // step_s
        kilns = len(chambers)
        self.faults = faults
        self.effects = Effects(faults, kilns)
        self.weather = weather or Weather([chamber.weather_seed for chamber in chambers], begin_s, int(hours) + 2)
        programmes: list[list[Stage]] = []
        self.plans: list[list[ChargePlan]] = []
        for chamber in chambers:
            stages, plans = (list(chamber.stages), []) if chamber.stages else charge_stages(chamber, hours)
            programmes.append(stages)
            self.plans.append(plans)
        self.stages = Stages(programmes)
        self.sensors = Sensors([chamber.seed for chamber in chambers])
        self.control = Controller(_columns(chambers, "reversal_h"), _columns(chambers, "reversal_pause_s"))
        self._take_sizes()
        self._start_state()

    def _take_sizes(self) -> None:
        def of(name: str) -> Numbers:
            return _columns(self.chambers, name)

        self.volume_m3, self.leak_per_s = of("volume_m3"), of("leak_air_changes_per_h") / HOUR_S
        self.still_share, self.flap_per_s = of("still_leak_share"), of("flap_air_changes_per_h") / HOUR_S
        self.heater_w, self.supply_c = of("heater_kw") * 1000, of("supply_c")
        self.spray_kg_s, self.is_steam = of("spray_kg_h") / HOUR_S, of("spray_is_steam") > 0
        self.spray_j_kg = np.where(self.is_steam, STEAM_J_KG, LIQUID_J_KG_K * SPRAY_WATER_C)
        self.steel_j_k, self.wall_j_k = of("steel_heat_capacity_mj_k") * 1e6, of("wall_heat_capacity_mj_k") * 1e6
        self.flow_m3_s = of("air_flow_m3_s")
        area = of("skin_area_m2")
        self.steel_w_k = STEEL_W_M2K * area
        # Air to steel, steel to the wall's middle, and from there outside: in series they make the U value.
        self.half_wall_w_k = 2 / (1 / (of("u_w_m2k") * area) - 1 / self.steel_w_k)
        self.film_kg_s_pa = self.steel_w_k / DRY_AIR_J_KG_K * WATER_TO_AIR_MASS_RATIO / STANDARD_PRESSURE_PA

    def _start_state(self) -> None:
        kilns = len(self.chambers)
        temp, ratio, _humidity, _gust = self.weather.at(self.begin_s)
        pressure = STANDARD_PRESSURE_PA * WATER_TO_AIR_MASS_RATIO / (WATER_TO_AIR_MASS_RATIO + ratio)
        dry = pressure * self.volume_m3 / (DRY_AIR_GAS_CONSTANT_J_KG_K * (temp + ZERO_C_K))
        zeros = np.zeros(kilns)
        self.air = AirNow(dry, dry * ratio, temp.copy())
        self.timber = TimberNow(zeros.copy(), zeros.copy(), zeros.copy(), zeros.copy(), zeros.copy(), temp.copy())
        self.fabric = FabricNow(temp.copy(), zeros.copy(), temp.copy())
        self.books = Books(*(zeros.copy() for _ in range(4)))
        self.sensors.start(temp, ratio)
        self._enter_stages(np.arange(kilns), temp, self.begin_s)
        self.started_kg, self.started_j = self.water_kg(), self.heat_j()

    def water_kg(self) -> Numbers:
        """All water in each chamber."""
        return self.air.vapour_kg + self.fabric.film_kg + self.timber.dry_kg * self.timber.moisture

    def heat_j(self) -> Numbers:
        """All heat in each chamber, counted from 0 °C and liquid water."""
        steel_j = (self.steel_j_k + self.fabric.film_kg * LIQUID_J_KG_K) * self.fabric.steel_c
        timber_j = self.timber.heat_capacity_j_k * self.timber.temp_c
        return self.air.enthalpy_j + steel_j + self.wall_j_k * self.fabric.wall_c + timber_j

    def go(self) -> list[ChamberRun]:
        """Run all steps and hand out what was read."""
        count = (self.steps + self.every - 1) // self.every
        raw = np.empty((count, len(RAW), len(self.chambers)), dtype=np.float32)
        phase = np.empty((count, len(self.chambers)), dtype=np.int8)
        for step in range(self.steps):
            moment_s = self.begin_s + step * self.dt
            self.effects.at(moment_s)
            outside = self.weather.at(moment_s)
            facts = self._step(moment_s, outside, is_read=step % self.every == 0)
            if facts:
                for row, name in enumerate(RAW):
                    raw[step // self.every, row] = facts[name]
                phase[step // self.every] = self.stages.phase
        self._check_state()
        return self._runs(raw, phase)

    def _check_state(self) -> None:
        states = (self.air.temp_c, self.timber.temp_c, self.fabric.steel_c, self.fabric.wall_c)
        if not all(np.all((state > -60) & (state < 200)) for state in states) or np.any(self.air.vapour_kg < 0):
            raise RuntimeError("the model of the chamber ran away: a temperature or mass that cannot be")

    def _step(
        self, moment_s: int, outside: tuple[Numbers, Numbers, Numbers, Numbers], *, is_read: bool
    ) -> dict[str, Numbers]:
        """Take one step; return what can be read at its end, nothing where nobody reads."""
        stage, control, effects, dt = self.stages.now, self.control, self.effects, self.dt
        temp_out, ratio_out, humidity_out, gust = outside
        control.drive_fans(stage["fans"] > 0, effects, dt)
        flow = control.flow
        control.drive_valves(stage, self.sensors, dt)
        flap = self._flap_share(control.flap_pct / 100)
        changes = self._air_changes_per_s(stage["door"] > 0, flap, flow, gust, temp_out)
        self._exchange(changes, temp_out, ratio_out)
        timber_w_k = self._timber_w_k(flow)
        facts = self._heat_and_water(timber_w_k, temp_out)
        self._level_pressure(temp_out, ratio_out)
        self._diffuse()
        air_w_k, ratio = self._air_w_k(flow), self.air.vapour_kg / self.air.dry_kg
        drop_k = facts.pop("to_timber_w") / np.maximum(air_w_k, 1.0)
        leaving_ratio = ratio + facts["evaporation"] / np.maximum(air_w_k / DRY_AIR_J_KG_K, 1e-3)
        self.sensors.follow(
            control.direction, self.air.temp_c, self.air.temp_c - drop_k, ratio, leaving_ratio, effects, dt
        )
        if not is_read:
            self._go_on(moment_s + dt, temp_out)
            return {}
        facts |= control.facts() | self.sensors.facts()
        facts |= {
            "set_air": control.set_air_c,
            "set_wet": control.set_wet_c,
            "temp_out": temp_out,
            "humidity_out": 100 * humidity_out,
            "door": stage["door"],
            "changes": changes * HOUR_S,
            "moisture": 100 * np.where(self.timber.dry_kg > 0, self.timber.moisture, np.nan),
            "temp": self.air.temp_c,
            "ratio": ratio,
            "flow": flow,
            "density": (self.air.dry_kg + self.air.vapour_kg) / self.volume_m3,
        }
        self._go_on(moment_s + dt, temp_out)
        return facts

    def _flap_share(self, ordered: Numbers) -> Numbers:
        effects = self.effects
        share = np.maximum(ordered, effects.of(_FLAP_LEAKS) / 100)
        for kind in (_FLAP_STUCK_OPEN, _FLAP_STUCK_SHUT):
            share = np.where(effects.stands(kind), effects.of(kind) / 100, share)
        return np.asarray(share)

    def _air_changes_per_s(
        self, is_open: NDArray[np.bool_], flap: Numbers, flow: Numbers, gust: Numbers, temp_out: Numbers
    ) -> Numbers:
        """Leak, flaps and door, in chamber volumes a second: dry air that is exchanged over that inside."""
        rise = np.sqrt(np.maximum(self.air.temp_c - temp_out, 0) / MIDDLE_RISE_K)
        drive = gust * (self.still_share * rise + (1 - self.still_share) * flow)
        leak = (self.leak_per_s + self.effects.of(_DOOR_LEAK) / HOUR_S) * drive
        through_flaps = self.flap_per_s * flap * (0.1 * rise + 0.9 * flow)
        return np.asarray(leak + through_flaps + is_open * DOOR_AIR_CHANGES_PER_H / HOUR_S)

    def _exchange(self, changes_per_s: Numbers, temp_out: Numbers, ratio_out: Numbers) -> None:
        """Put outside air in the place of a share of the chamber's."""
        air = self.air
        share = -np.expm1(-changes_per_s * self.dt)
        enthalpy, dry = air.enthalpy_j, share * air.dry_kg
        vapour_in, vapour_out = dry * ratio_out, share * air.vapour_kg
        heat_in = dry * DRY_AIR_J_KG_K * temp_out + vapour_in * vapour_j_kg(temp_out)
        air.vapour_kg = air.vapour_kg + vapour_in - vapour_out
        self._set_temp(enthalpy * (1 - share) + heat_in)
        self._book(vapour_in, vapour_out, heat_in, share * enthalpy)

    def _set_temp(self, enthalpy_j: Numbers) -> None:
        air = self.air
        capacity = air.dry_kg * DRY_AIR_J_KG_K + air.vapour_kg * VAPOUR_J_KG_K
        air.temp_c = (enthalpy_j - air.vapour_kg * VAPOUR_AT_0_J_KG) / capacity

    def _book(self, water_in: Numbers, water_out: Numbers, heat_in: Numbers, heat_out: Numbers) -> None:
        books = self.books
        books.water_in_kg += water_in
        books.water_out_kg += water_out
        books.heat_in_j += heat_in
        books.heat_out_j += heat_out

    def _air_w_k(self, flow: Numbers) -> Numbers:
        """Heat that the moving air carries for each K."""
        return np.asarray(
            self.flow_m3_s * np.maximum(flow, STILL_FLOW) * self.air.dry_kg / self.volume_m3 * DRY_AIR_J_KG_K
        )

    def _timber_w_k(self, flow: Numbers) -> Numbers:
        """From the air to the timber, limited by what the air carries past it."""
        carried = self._air_w_k(flow)
        surface = SURFACE_W_M2K * self.timber.surface_m2 * np.maximum(flow, STILL_FLOW) ** 0.8
        return np.asarray(-carried * np.expm1(-surface / carried))

    def _heat_and_water(self, timber_w_k: Numbers, temp_out: Numbers) -> dict[str, Numbers]:
        """Let water and heat flow for one step; the air's new state is solved for, all others follow from the flows."""
        air, timber, fabric, dt = self.air, self.timber, self.fabric, self.dt
        enthalpy = air.enthalpy_j
        pa_per_kg = VAPOUR_GAS_CONSTANT * (air.temp_c + ZERO_C_K) / self.volume_m3
        vapour_pa = air.vapour_kg * pa_per_kg
        over_air, over_timber, over_steel = saturation_pa(np.array((air.temp_c, timber.temp_c, fabric.steel_c)))
        spray, spray_w = self._spray(vapour_pa / over_air)
        dryness = between(1 - timber.shell / FIBRE_SATURATION, 0, 1)
        timber_kg_s_pa = (
            timber_w_k / DRY_AIR_J_KG_K * WATER_TO_AIR_MASS_RATIO / STANDARD_PRESSURE_PA
        ) / (1 + DRY_SHELL_RESISTANCE * dryness)  # fmt: skip
        timber_pa = wood_activity(timber.temp_c, timber.shell) * over_timber
        film_kg_s_pa = self._film_kg_s_pa(over_steel - vapour_pa)
        given = spray + timber_kg_s_pa * timber_pa + film_kg_s_pa * over_steel
        air.vapour_kg = (air.vapour_kg + dt * given) / (1 + dt * (timber_kg_s_pa + film_kg_s_pa) * pa_per_kg)
        vapour_pa = air.vapour_kg * pa_per_kg
        from_timber = timber_kg_s_pa * (timber_pa - vapour_pa)
        from_film = film_kg_s_pa * (over_steel - vapour_pa)
        latent_timber_w = from_timber * vapour_j_kg(timber.temp_c)
        latent_film_w = from_film * vapour_j_kg(fabric.steel_c)
        coil_w_k, coil_w = self._coil()
        enthalpy = enthalpy + dt * (spray_w + latent_timber_w + latent_film_w + coil_w)
        sources = coil_w_k * self.supply_c + timber_w_k * timber.temp_c + self.steel_w_k * fabric.steel_c
        capacity = air.dry_kg * DRY_AIR_J_KG_K + air.vapour_kg * VAPOUR_J_KG_K
        air.temp_c = (enthalpy - air.vapour_kg * VAPOUR_AT_0_J_KG + dt * sources) / (
            capacity + dt * (coil_w_k + timber_w_k + self.steel_w_k)
        )
        heat_w = coil_w + coil_w_k * (self.supply_c - air.temp_c)
        self.books.water_in_kg += dt * spray
        self.books.heat_in_j += dt * (spray_w + heat_w)
        self.books.coil_j += dt * heat_w
        to_timber_w = timber_w_k * (air.temp_c - timber.temp_c)
        self._into_timber(to_timber_w - latent_timber_w, from_timber)
        self._into_fabric(self.steel_w_k * (air.temp_c - fabric.steel_c) - latent_film_w, from_film, temp_out)
        return {"heat_w": heat_w, "to_timber_w": to_timber_w, "evaporation": from_timber, "spray_kg_s": spray}

    def _spray(self, humidity: Numbers) -> tuple[Numbers, Numbers]:
        """Return kg/s that the air takes up and the heat that comes with it; near saturation the rest drips away."""
        taken = between((1 - humidity) / 0.04, 0, 1)
        blocked = 1 - self.effects.of(_SPRAY_BLOCKED)
        spray = self.spray_kg_s * self.control.spray_pct / 100 * blocked * taken
        return spray, spray * self.spray_j_kg

    def _film_kg_s_pa(self, excess_pa: Numbers) -> Numbers:
        """Transfer to the film: whatever condenses, but no more evaporates than there is."""
        there = np.maximum(self.fabric.film_kg, 0) / (self.dt * np.maximum(excess_pa, 1e-6))
        return np.asarray(np.where(excess_pa > 0, np.minimum(self.film_kg_s_pa, there), self.film_kg_s_pa))

    def _coil(self) -> tuple[Numbers, Numbers]:
        """Return the coil's W/K towards its supply, and the power that comes whatever the air's temperature."""
        effects, control = self.effects, self.control
        share = np.maximum(control.heating_pct, effects.of(_HEATING_VALVE_LEAKS)) / 100
        stuck = effects.stands(_HEATING_VALVE_STUCK)
        share = np.where(stuck, effects.of(_HEATING_VALVE_STUCK) / 100, share)
        # The rated power holds at 60 °C in the chamber.
        rated_w_k = self.heater_w / (self.supply_c - 60) * (1 - effects.of(_COIL_FOULED))
        # Without air past it a coil gives off little.
        carried = 0.1 + 0.9 * np.minimum(1, control.flow) ** 0.6
        return np.asarray(share * rated_w_k * carried), control.constant_w

    def _into_timber(self, heat_w: Numbers, evaporation_kg_s: Numbers) -> None:
        timber, dt = self.timber, self.dt
        is_there = timber.dry_kg > 0
        heat_j = timber.heat_capacity_j_k * timber.temp_c + dt * heat_w
        shell_kg = np.where(is_there, SHELL_SHARE * timber.dry_kg, 1.0)
        timber.shell = timber.shell - np.where(is_there, dt * evaporation_kg_s / shell_kg, 0)
        capacity = timber.heat_capacity_j_k
        timber.temp_c = np.where(is_there, heat_j / np.where(is_there, capacity, 1), self.air.temp_c)

    def _into_fabric(self, heat_w: Numbers, evaporation_kg_s: Numbers, temp_out: Numbers) -> None:
        fabric, dt = self.fabric, self.dt
        into_wall_w = self.half_wall_w_k * (fabric.steel_c - fabric.wall_c)
        lost_w = self.half_wall_w_k * (fabric.wall_c - temp_out)
        steel_j = (self.steel_j_k + fabric.film_kg * LIQUID_J_KG_K) * fabric.steel_c + dt * (heat_w - into_wall_w)
        film = fabric.film_kg - dt * evaporation_kg_s
        # What the film cannot hold runs off at the steel's temperature.
        drained = np.maximum(film - MOST_FILM_KG, 0)
        fabric.steel_c = steel_j / (self.steel_j_k + film * LIQUID_J_KG_K)
        fabric.film_kg = film - drained
        fabric.wall_c = fabric.wall_c + dt * (into_wall_w - lost_w) / self.wall_j_k
        self.books.water_out_kg += drained
        self.books.heat_out_j += dt * lost_w + drained * LIQUID_J_KG_K * fabric.steel_c

    def _level_pressure(self, temp_out: Numbers, ratio_out: Numbers) -> None:
        """Let out what is above the outer pressure; take outside air in where it is below."""
        air = self.air
        moles = air.dry_kg + air.vapour_kg / WATER_TO_AIR_MASS_RATIO
        filled = DRY_AIR_GAS_CONSTANT_J_KG_K * moles * (air.temp_c + ZERO_C_K)
        full = STANDARD_PRESSURE_PA * self.volume_m3
        share_out = np.maximum(1 - full / filled, 0)
        missing = np.maximum(full - filled, 0) / (DRY_AIR_GAS_CONSTANT_J_KG_K * (temp_out + ZERO_C_K))
        dry_in = missing / (1 + ratio_out / WATER_TO_AIR_MASS_RATIO)
        enthalpy, vapour_out, vapour_in = air.enthalpy_j, share_out * air.vapour_kg, dry_in * ratio_out
        heat_in = dry_in * DRY_AIR_J_KG_K * temp_out + vapour_in * vapour_j_kg(temp_out)
        air.dry_kg = air.dry_kg * (1 - share_out) + dry_in
        air.vapour_kg = air.vapour_kg - vapour_out + vapour_in
        self._set_temp(enthalpy * (1 - share_out) + heat_in)
        self._book(vapour_in, vapour_out, heat_in, share_out * enthalpy)

    def _diffuse(self) -> None:
        """Let water go from the core to the shell, as fast as the published model's time constant allows."""
        timber = self.timber
        rate_ratio = np.interp(timber.temp_c, TEMPS_C, RATE_RATIO)
        share = self.dt / (HOUR_S * np.maximum(timber.time_constant_60_h, 1)) * rate_ratio
        moved = share * (timber.core - timber.shell) * (1 - SHELL_SHARE) * (timber.dry_kg > 0)
        timber.core = timber.core - moved / (1 - SHELL_SHARE)
        timber.shell = timber.shell + moved / SHELL_SHARE

    def _go_on(self, moment_s: int, temp_out: Numbers) -> None:
        """Lead chambers whose stage is over into the next."""
        read = self.sensors.air_reading(self.control.direction)
        over = self.stages.over(self.dt, self.timber.temp_c, 100 * self.timber.moisture, read, self.control.set_air_c)
        if not len(over):
            return
        emptied = over[self.stages.now["takes_out"][over] > 0]
        self._carry_timber(emptied, None, temp_out)
        self.stages.advance(over)
        self._enter_stages(over, temp_out, moment_s)

    def _enter_stages(self, kilns: NDArray[np.intp], temp_out: Numbers, moment_s: int) -> None:
        self.stages.record(kilns, moment_s)
        for kiln in kilns:
            timber = self.stages.programmes[kiln][self.stages.index[kiln]].timber
            if timber is not None:
                self._carry_timber(np.array([kiln]), timber, temp_out)
        self.control.enter(kilns, self.stages.now)

    def _carry_timber(self, kilns: NDArray[np.intp], load: Timber | None, temp_out: Numbers) -> None:
        """Take the timber out of some chambers, or put it in; the books keep both."""
        if not len(kilns):
            return
        water, heat = self.water_kg(), self.heat_j()
        timber = self.timber
        put_in = load or NO_TIMBER
        timber.dry_kg[kilns], timber.surface_m2[kilns] = put_in.dry_kg, put_in.surface_m2
        timber.time_constant_60_h[kilns] = put_in.time_constant_60_h
        timber.shell[kilns] = timber.core[kilns] = put_in.start_mc_pct / 100
        timber.temp_c[kilns] = self.air.temp_c[kilns] if load is None else np.maximum(temp_out[kilns], THAWED_C)
        none = np.zeros_like(water)
        self._book(self.water_kg() - water, none, self.heat_j() - heat, none)

    def _runs(self, raw: NDArray[np.float32], phase: NDArray[np.int8]) -> list[ChamberRun]:
        moments_s = self.begin_s + self.emit_s * np.arange(len(phase), dtype=np.int64)
        readings = read_channels(self.chambers, moments_s, raw, self.faults)
        truth_of = {
            "air_changes_per_h": "changes", "wood_moisture": "moisture", "air_temperature": "temp",
            "humidity_ratio": "ratio", "flow": "flow", "outside_temperature": "temp_out",
            "outside_humidity": "humidity_out",
        }  # fmt: skip
        rows = {name: RAW.index(row) for name, row in truth_of.items()}
        stored_kg, stored_j = self.water_kg() - self.started_kg, self.heat_j() - self.started_j
        found = []
        for kiln in range(len(self.chambers)):
            truth = {name: raw[:, row, kiln].astype(np.float64) for name, row in rows.items()}
            truth["evaporation_kg_h"] = HOUR_S * raw[:, RAW.index("evaporation"), kiln].astype(np.float64)
            books = self.books
            balance = {
                "water_in_kg": float(books.water_in_kg[kiln]), "water_out_kg": float(books.water_out_kg[kiln]),
                "water_stored_kg": float(stored_kg[kiln]), "heat_in_j": float(books.heat_in_j[kiln]),
                "heat_out_j": float(books.heat_out_j[kiln]), "heat_stored_j": float(stored_j[kiln]),
                "coil_j": float(books.coil_j[kiln]),
            }  # fmt: skip
            charges = charges_of(self.stages.history[kiln], self.stages.programmes[kiln], self.plans[kiln])
            found.append(
                ChamberRun(
                    kiln, self.begin_s, self.emit_s, readings[kiln], phase[:, kiln].copy(), charges, truth, balance
                )
            )
        return found
