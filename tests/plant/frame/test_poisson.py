"""The Poisson law's mean for a wanted probability: half a chi-square quantile."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.basics import poisson
from plant.basics.poisson import poisson_cdf, poisson_mean

# Upper 5 % and lower 5 % points of chi-square at an even number of degrees of freedom: NIST/SEMATECH e-Handbook of
# Statistical Methods, section 1.3.6.7.4 (from memory, to its three decimals).
PUBLISHED = [
    (2, 0.05, 5.991),
    (4, 0.05, 9.488),
    (10, 0.05, 18.307),
    (20, 0.05, 31.410),
    (60, 0.05, 79.082),
    (100, 0.05, 124.342),
    (2, 0.95, 0.103),
    (4, 0.95, 0.711),
    (10, 0.95, 3.940),
    (20, 0.95, 10.851),
    (60, 0.95, 43.188),
    (100, 0.95, 77.929),
]


@pytest.mark.parametrize(("freedom", "upper_tail", "quantile"), PUBLISHED)
def test_twice_the_mean_is_the_published_chi_square_quantile(freedom: int, upper_tail: float, quantile: float) -> None:
    assert 2 * poisson_mean(freedom // 2 - 1, upper_tail) == pytest.approx(quantile, abs=5.1e-4)


@given(st.integers(0, 30_000), st.floats(1e-9, 1 - 1e-9))
@settings(max_examples=60, deadline=None)
def test_at_the_mean_found_the_probability_is_the_one_wanted(count: int, probability: float) -> None:
    mean = poisson_mean(count, probability)
    assert poisson_cdf(count, mean) == pytest.approx(probability, rel=1e-7, abs=1e-12)


def test_a_hundred_thousand_events_take_a_handful_of_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    steps = []
    monkeypatch.setattr(poisson, "poisson_cdf", lambda count, mean: steps.append(mean) or poisson_cdf(count, mean))
    lower, upper = poisson_mean(100_000, 0.95), poisson_mean(100_000, 0.05)
    assert len(steps) <= 12
    assert lower < 100_001 < upper


@pytest.mark.parametrize(("count", "probability"), [(-1, 0.5), (3, 0.0), (3, 1.0)])
def test_what_has_no_mean_is_refused(count: int, probability: float) -> None:
    with pytest.raises(ValueError, match=r"negative|outside"):
        poisson_mean(count, probability)
