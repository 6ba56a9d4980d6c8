"""Drift charts against worked examples and published run lengths.

Sources: Lucas and Crosier, Technometrics 24 (1982), Tables 1 and 5; Vance, Journal of Quality Technology 18 (1986),
Table 1; Crowder, Technometrics 29 (1987), Table 1; Lucas and Saccucci, Technometrics 32 (1990), Table 3. The run
lengths were read as the examples of open documentation quote them, the worked example in a textbook's reprint. What is
from memory says so.
"""

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.polynomial.legendre import leggauss
from numpy.typing import NDArray

from maintenance.watches.calculations.drift_charts import Drift, cusum_step, ewma_step, follow, restarted
from maintenance.watches.calculations.student_t import t_probability, t_quantile

Numbers = NDArray[np.float64]
RUNS = 12_000
# Shift in standard deviations -> mean run length; both sides, slack 0.5.
CUSUM_4 = {0: 168, 0.25: 74.2, 0.5: 26.6, 0.75: 13.3, 1: 8.38, 1.5: 4.75, 2: 3.34, 2.5: 2.62, 3: 2.19}
CUSUM_4_SOURCE = "Lucas and Crosier (1982), Table 1"
CUSUM_5 = {0: 465, 0.25: 139, 0.5: 38.0, 0.75: 17.0, 1: 10.4, 1.5: 5.75, 2: 4.01, 2.5: 3.11, 3: 2.57}
CUSUM_5_SOURCE = "Montgomery, Introduction to Statistical Quality Control (from memory)"
# (weight, width) -> shift -> mean run length; both sides, limits of the long run.
EWMA = {
    (0.5, 3.071): {0: 500, 0.25: 255, 0.5: 88.8, 0.75: 35.9, 1: 17.5, 1.5: 6.53, 2: 3.63, 3: 1.93},
    (0.03, 2.437): {0: 500, 0.25: 76.7, 0.5: 29.3, 0.75: 17.6, 1: 12.6, 1.5: 8.07, 2: 5.99, 3: 4.03},
    (0.1, 2.814): {0: 500, 0.25: 106, 0.5: 31.3, 0.75: 15.9, 1: 10.3, 1.5: 6.09, 2: 4.36, 3: 2.87},
    (0.05, 2.0): {0: 127.53, 0.25: 43.94, 0.5: 18.97, 0.75: 11.64, 1: 8.38, 1.5: 5.41, 2: 4.04, 3: 2.76},
}
EWMA_SOURCES = {
    (0.5, 3.071): "Lucas and Saccucci (1990), Table 3",
    (0.03, 2.437): "Lucas and Saccucci (1990), Table 3",
    (0.1, 2.814): "Lucas and Saccucci (1990), Table 3 (from memory)",
    (0.05, 2.0): "Crowder (1987), Table 1",
}


def run_lengths(shift: float, rule: Drift, seed: int) -> Numbers:
    """Let many charts run side by side until each gives its alarm."""
    rng = np.random.default_rng(seed)
    up, down, length = np.zeros(RUNS), np.zeros(RUNS), np.zeros(RUNS)
    going, step = np.arange(RUNS), 0
    while len(going):
        step += 1
        z = rng.standard_normal(len(going)) + shift
        if rule.chart == "cusum":
            up, down = cusum_step(up, down, z, rule.slack)
        else:
            up = ewma_step(up, z, rule.weight)
            down = -up
        out = (up > rule.limit) | (down > rule.limit)
        length[going[out]] = step
        going, up, down = going[~out], up[~out], down[~out]
    return length


def assert_mean(length: Numbers, published: float) -> None:
    """The mean agrees with a published figure of three digits within its rounding and four standard errors."""
    rounding = 0.5 * 10 ** (math.floor(math.log10(published)) - 2)
    assert abs(length.mean() - published) <= rounding + 4 * length.std() / math.sqrt(len(length))


def known(mean: float, sd: float) -> dict[str, object]:
    """The state of a chart whose usual mean and spread are known, as in published examples."""
    return {"count": 2, "mean": mean, "squares": sd**2, "is_known": True}


@pytest.mark.parametrize(("decision", "shift", "published"), [
    *((4.0, shift, arl) for shift, arl in CUSUM_4.items()),
    *((5.0, shift, arl) for shift, arl in CUSUM_5.items()),
])  # fmt: skip
def test_cusum_reaches_the_published_run_lengths(decision: float, shift: float, published: float) -> None:
    rule = Drift("cusum", slack=0.5, decision=decision)
    assert_mean(run_lengths(shift, rule, seed=int(100 * shift + decision)), published)


@pytest.mark.parametrize(("constants", "shift", "published"), [
    (constants, shift, arl) for constants, arls in EWMA.items() for shift, arl in arls.items()
])  # fmt: skip
def test_ewma_reaches_the_published_run_lengths(constants: tuple[float, float], shift: float, published: float) -> None:
    rule = Drift("ewma", weight=constants[0], width=constants[1])
    assert_mean(run_lengths(shift, rule, seed=int(100 * shift + 1000 * constants[0])), published)


def normal_cdf(x: Numbers) -> Numbers:
    return 0.5 * (1 + np.vectorize(math.erf)(np.asarray(x) / math.sqrt(2)))


def normal_pdf(x: Numbers) -> Numbers:
    return np.exp(-(x**2) / 2) / math.sqrt(2 * math.pi)


def one_sided_cusum_arl(slack: float, decision: float, shift: float, nodes: int = 60) -> float:
    """Solve Page's integral equation by Gauss-Legendre quadrature, as Vance (1986) does."""
    at, weight = leggauss(nodes)
    at, weight = decision * (at + 1) / 2, decision * weight / 2
    start = np.concatenate([[0.0], at])
    kernel = np.zeros((nodes + 1, nodes + 1))
    kernel[:, 0] = normal_cdf(slack - shift - start)
    kernel[:, 1:] = weight * normal_pdf(at[None, :] - start[:, None] + slack - shift)
    return float(np.linalg.solve(np.eye(nodes + 1) - kernel, np.ones(nodes + 1))[0])


def ewma_arl(weight: float, width: float, shift: float, nodes: int = 81) -> float:
    """Solve Crowder's integral equation by Gauss-Legendre quadrature."""
    limit = width * math.sqrt(weight / (2 - weight))
    at, share = leggauss(nodes)
    at, share = limit * at, limit * share
    kernel = share / weight * normal_pdf((at[None, :] - (1 - weight) * at[:, None]) / weight - shift)
    arl = np.linalg.solve(np.eye(nodes) - kernel, np.ones(nodes))
    return float(1 + (share / weight * normal_pdf(at / weight - shift)) @ arl)


def test_the_published_run_lengths_solve_their_integral_equations() -> None:
    vance = {-0.25: 2071.51, -0.125: 400.28, 0: 124.66, 0.125: 59.30, 0.25: 36.71, 0.5: 20.37, 0.75: 14.06, 1: 10.75}
    for shift, arl in vance.items():
        assert one_sided_cusum_arl(0, 10, shift) == pytest.approx(arl, rel=1e-3)
    for decision, table in ((4.0, CUSUM_4), (5.0, CUSUM_5)):
        for shift, arl in table.items():
            both = 1 / (1 / one_sided_cusum_arl(0.5, decision, shift) + 1 / one_sided_cusum_arl(0.5, decision, -shift))
            assert both == pytest.approx(arl, rel=6e-3)
    for (weight, width), table in EWMA.items():
        for shift, arl in table.items():
            assert ewma_arl(weight, width, shift) == pytest.approx(arl, rel=6e-3)


def test_the_worked_example_of_the_cusum() -> None:
    # Lucas and Crosier (1982), Table 5: slack 0.5, decision 5; the sums after seven values.
    values, sums = [0.8, 1.9, 1.4, 2.0, 1.1, 0.7, 2.6], [0.3, 1.7, 2.6, 4.1, 4.7, 4.9, 7.0]
    rule = Drift("cusum", slack=0.5, decision=5)
    points, _state = follow(rule, values, known(0, 1))
    assert [point.up for point in points] == pytest.approx(sums)
    assert [point.began for point in points] == [False] * 6 + [True]
    assert points[-1].charges == 7
    assert points[-1].shift == pytest.approx(sum(values) / 7)


def test_the_worked_example_of_the_ewma() -> None:
    # NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4 (data and results from memory): mean 50, s 2.0539,
    # weight 0.3, width 3; limits 52.5884 and 47.4115; all 20 values lie inside.
    values = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6,
              52.4, 53.6, 52.1]  # fmt: skip
    expected = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05,
                49.38, 49.92, 50.73, 51.23, 51.94, 51.99]  # fmt: skip
    rule = Drift("ewma", weight=0.3, width=3)
    points, _state = follow(rule, values, known(50, 2.0539))
    assert 50 + 2.0539 * rule.limit == pytest.approx(52.5884, abs=2e-3)
    averages = [50 + 2.0539 * (point.up - point.down) for point in points]
    assert averages == pytest.approx(expected, abs=0.006)
    assert not any(point.is_drifting for point in points)


FIGURES = st.lists(st.floats(-5, 5).map(lambda x: round(x, 3)), max_size=40)


@pytest.mark.parametrize("rule", [
    Drift("cusum", least_charges=3, baseline_charges=6, decision=2),
    Drift("ewma", side="above", least_charges=4, baseline_charges=5, least_sd=0.1),
    Drift("cusum", side="below", least_charges=3, baseline_charges=4, least_shift=1),
], ids=["both", "above", "below"])  # fmt: skip
@given(values=FIGURES, cut=st.integers(0, 40))
@settings(max_examples=60, deadline=None)
def test_a_chart_says_the_same_whole_and_in_pieces(rule: Drift, values: list[float], cut: int) -> None:
    whole, at_once = follow(rule, values, {})
    first, state = follow(rule, values[:cut], {})
    second, in_two = follow(rule, values[cut:], json.loads(json.dumps(state)))
    assert (first + second, in_two) == (whole, at_once)


def test_a_chart_is_silent_until_it_knows_enough_charges() -> None:
    rule = Drift("cusum", least_charges=6, baseline_charges=12)
    points, _state = follow(rule, [0.0, 0.1, -0.1, 0.05, 50.0], {})
    assert not any(point.up or point.is_drifting for point in points)


def test_no_charge_alone_gives_an_alarm() -> None:
    rule = Drift("cusum", least_charges=6, baseline_charges=12)
    points, _state = follow(rule, [0.0, 0.1, -0.1, 0.05, -0.05, 0.0, 0.1, -0.1, 900.0, 0.0], {})
    assert not any(point.is_drifting for point in points)


def test_a_shift_too_small_to_matter_is_no_alarm() -> None:
    usual = [0.0, 0.1, -0.1, 0.05, -0.05, 0.0, 0.1, -0.1]
    for least_shift, is_heard in ((0.0, True), (2.0, False)):
        rule = Drift("cusum", least_charges=6, baseline_charges=8, least_shift=least_shift)
        points, _state = follow(rule, usual + [1.0] * 6, {})
        assert any(point.began for point in points) is is_heard


def test_a_drift_is_over_when_the_figure_is_back_and_after_mending_it_begins_anew() -> None:
    rule = Drift("cusum", decision=4)
    points, state = follow(rule, [3.0] * 3, known(0, 1))
    assert [point.is_drifting for point in points] == [False, True, True]
    back, _state = follow(rule, [0.0] * 20, state)
    assert back[0].is_drifting
    assert not back[-1].is_drifting
    (anew,), _state = follow(rule, [3.0], restarted(state))
    assert (anew.is_drifting, anew.up) == (False, 2.5)


def test_few_charges_behind_it_do_not_make_a_chart_cry_wolf_more_often() -> None:
    # In control, values judged by Student's t on what came before are independent standard normal ones.
    rule, rng, charts = (
        Drift("cusum", decision=5, least_charges=6, baseline_charges=1000),
        np.random.default_rng(1),
        600,
    )
    alarms = sum(any(p.began for p in follow(rule, rng.standard_normal(60).tolist(), {})[0]) for _ in range(charts))
    expected = (run_lengths(0, rule, seed=2) <= 54).mean()
    assert alarms / charts == pytest.approx(expected, abs=4 * math.sqrt(expected / charts))


@pytest.mark.parametrize(("values", "words"), [
    ({"chart": "cusum", "least_charges": 2}, "least_charges 2 is outside"),
    ({"chart": "cusum", "baseline_charges": 3}, "baseline_charges 3 is outside"),
    ({"chart": "ewma", "weight": 0}, "weight 0 is outside"),
    ({"chart": "cusum", "decision": math.nan}, "decision nan is outside"),
])  # fmt: skip
def test_numbers_that_make_no_chart_are_refused(values: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Drift(**values)  # type: ignore[arg-type]


def test_a_figure_that_is_no_number_is_refused() -> None:
    with pytest.raises(ValueError, match="no number"):
        follow(Drift("cusum"), [math.nan], {})


# NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2, critical values of Student's t (from memory).
T_TABLE = {
    1: (6.314, 12.706, 63.657), 2: (2.920, 4.303, 9.925), 3: (2.353, 3.182, 5.841), 4: (2.132, 2.776, 4.604),
    5: (2.015, 2.571, 4.032), 7: (1.895, 2.365, 3.499), 10: (1.812, 2.228, 3.169), 18: (1.734, 2.101, 2.878),
    30: (1.697, 2.042, 2.750), 100: (1.660, 1.984, 2.626),
}  # fmt: skip


@pytest.mark.parametrize("degrees", T_TABLE)
def test_students_t_agrees_with_the_published_table(degrees: int) -> None:
    found = [t_quantile(probability, degrees) for probability in (0.95, 0.975, 0.995)]
    assert found == pytest.approx(T_TABLE[degrees], abs=6e-4)
    assert t_quantile(0.025, degrees) == pytest.approx(-found[1], rel=1e-8)
    assert t_probability(found[0], degrees) == pytest.approx(0.95)


def test_students_t_refuses_what_it_cannot_know() -> None:
    for call in (lambda: t_quantile(0.0, 3), lambda: t_probability(1.0, 0), lambda: t_probability(math.nan, 3)):
        with pytest.raises(ValueError, match="probability"):
            call()
