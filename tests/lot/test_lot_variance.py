"""Analysis of variance and the gauge study, beside certified and published values."""

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import scipy.stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from compare.lot.study.gauge_study import average_and_range, crossed
from compare.lot.study.variance import by_columns, one_way

# NIST Statistical Reference Datasets, analysis of variance; the files come with scipy's own tests.
STRD = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_anova"
# digits that double precision can hold: the values carry 1, 7 or 13 equal leading digits, so that storing
# them alone costs 1e-16, 1e-9 or 1e-3 of their deviations
DIGITS = {
    "SiRstv": 13, "SmLs01": 13, "SmLs02": 13, "SmLs03": 12, "AtmWtAg": 10,
    "SmLs04": 8, "SmLs05": 8, "SmLs06": 8, "SmLs07": 3, "SmLs08": 3, "SmLs09": 3,
}  # fmt: skip


def certified(name: str) -> tuple[list[np.ndarray], dict[str, float]]:
    text = (STRD / f"{name}.dat").read_text()
    number = r"([-+.\dE]+)"
    between = re.search(rf"Between \w+\s+\d+\s+{number}\s+{number}\s+{number}", text)
    within = re.search(rf"Within \w+\s+\d+\s+{number}", text)
    sd = re.search(rf"Certified Residual\s+Standard Deviation\s+{number}|Standard Deviation\s+{number}", text)
    assert between and within and sd
    rows = [line.split() for line in text.splitlines()[60:] if re.match(r"^\s*\d+\s+[-+.\d]+\s*$", line)]
    frame = pd.DataFrame(rows, columns=["group", "y"]).astype({"y": float})
    groups = [g["y"].to_numpy() for _, g in frame.groupby("group", sort=False)]
    values = {
        "between": float(between[1]),
        "f": float(between[3]),
        "within": float(within[1]),
        "sd": float(sd[1] or sd[2]),
    }
    return groups, values


@pytest.mark.parametrize("name", DIGITS)
def test_certified_analysis_of_variance(name: str) -> None:
    if not STRD.is_dir():
        pytest.skip("this scipy came without its tests' data")
    groups, wanted = certified(name)
    found = one_way(groups)
    tolerance = 10.0 ** -DIGITS[name]
    assert found.between == pytest.approx(wanted["between"], rel=tolerance)
    assert found.within == pytest.approx(wanted["within"], rel=tolerance)
    assert found.f == pytest.approx(wanted["f"], rel=2 * tolerance)
    assert found.sd == pytest.approx(wanted["sd"], rel=tolerance)


def test_one_way_needs_groups() -> None:
    with pytest.raises(ValueError, match="two groups"):
        one_way([np.array([1.0, 2.0])])


def test_several_columns_as_statsmodels_does() -> None:
    rng = np.random.default_rng(12)
    frame = pd.DataFrame(
        {
            "person": rng.choice(list("ABC"), 60),
            "die": rng.choice(["north", "south"], 60),
            "shift": rng.choice(["early", "late"], 60),
        }
    )
    frame["y"] = rng.normal(0, 0.2, 60) + 0.3 * (frame["die"] == "south")
    table = anova_lm(ols("y ~ C(person) + C(die) + C(shift)", frame).fit(), typ=2)
    ours = {
        s.name: s for s in by_columns(frame["y"].to_numpy(), {k: list(frame[k]) for k in frame.columns[:3]})
    }
    for name in ("person", "die", "shift"):
        row = table.loc[f"C({name})"]
        assert ours[name].squares == pytest.approx(row["sum_sq"])
        assert ours[name].chance == pytest.approx(row["PR(>F)"], rel=1e-6)
    assert ours["die"].chance < 1e-3 < ours["person"].chance
    assert ours["left"].squares == pytest.approx(table.loc["Residual", "sum_sq"])


def test_columns_that_are_the_same_division_blame_neither() -> None:
    rng = np.random.default_rng(1)
    labels = ["a", "b"] * 10
    y = rng.normal(0, 1, 20) + np.array([0.0, 5.0] * 10)
    both = {s.name: s for s in by_columns(y, {"person": labels, "die": [x.upper() for x in labels]})}
    assert both["person"].freedom == 0 and np.isnan(both["person"].chance)
    assert [s.name for s in by_columns(y, {"shift": ["early"] * 20})] == ["left"]


# Three people, ten parts, three trials each: AIAG, Measurement Systems Analysis, 4th edition (2010).
STUDY = np.array(
    [
        [
            [0.29, -0.56, 1.34, 0.47, -0.80, 0.02, 0.59, -0.31, 2.26, -1.36],
            [0.41, -0.68, 1.17, 0.50, -0.92, -0.11, 0.75, -0.20, 1.99, -1.25],
            [0.64, -0.58, 1.27, 0.64, -0.84, -0.21, 0.66, -0.17, 2.01, -1.31],
        ],
        [
            [0.08, -0.47, 1.19, 0.01, -0.56, -0.20, 0.47, -0.63, 1.80, -1.68],
            [0.25, -1.22, 0.94, 1.03, -1.20, 0.22, 0.55, 0.08, 2.12, -1.62],
            [0.07, -0.68, 1.34, 0.20, -1.28, 0.06, 0.83, -0.34, 2.19, -1.50],
        ],
        [
            [0.04, -1.38, 0.88, 0.14, -1.46, -0.29, 0.02, -0.46, 1.77, -1.49],
            [-0.11, -1.13, 1.09, 0.20, -1.07, -0.67, 0.01, -0.56, 1.45, -1.77],
            [-0.15, -0.96, 0.67, 0.11, -1.45, -0.49, 0.21, -0.49, 1.87, -2.16],
        ],
    ]
).transpose(0, 2, 1)  # people, parts, trials


def test_published_study_by_variance() -> None:
    g = crossed(STUDY)
    squares = {line.name: (line.squares, line.freedom) for line in g.lines}
    assert squares["sample"] == (pytest.approx(88.3619, abs=6e-5), 9)
    assert squares["person"] == (pytest.approx(3.1673, abs=6e-5), 2)
    assert squares["person x sample"] == (pytest.approx(0.3590, abs=6e-5), 18)
    assert squares["repeat photos"] == (pytest.approx(2.7589, abs=6e-5), 60)
    f = {line.name: line.f for line in g.lines}
    assert f["person x sample"] == pytest.approx(0.434, abs=5e-4)
    assert (f["sample"], f["person"]) == pytest.approx((492.291, 79.406), abs=5e-4)
    assert g.lines[2].chance == pytest.approx(0.974, abs=5e-4) and g.pooled
    assert g.repeatability == pytest.approx(0.199933, abs=5e-7)
    assert g.reproducibility == pytest.approx(0.226838, abs=6e-7)
    assert g.measuring == pytest.approx(0.302373, abs=2e-6)
    assert g.parts == pytest.approx(1.042327, abs=6e-7)
    assert g.share_of_total == pytest.approx(0.2786, abs=5e-5)
    assert g.categories == 4  # 4.861


def test_published_study_by_range() -> None:
    g = average_and_range(STUDY)
    # printed values were computed with four-digit constants (0.3146 for 0.31456: a share of 1.3e-4)
    assert (g.repeatability, g.reproducibility) == pytest.approx((0.20188, 0.22963), abs=6e-5)
    assert (g.measuring, g.parts, g.total) == pytest.approx((0.30575, 1.10456, 1.14610), rel=1.4e-4)
    assert 100 * g.share_of_total == pytest.approx(26.68, abs=0.01)
    assert g.categories == 5  # the two methods differ here: always say which


def test_interaction_kept_when_it_is_there() -> None:
    rng = np.random.default_rng(6)
    people, samples, photos = 6, 40, 4
    x = (
        rng.normal(0, 1.0, (1, samples, 1))
        + rng.normal(0, 0.5, (people, 1, 1))
        + rng.normal(0, 0.4, (people, samples, 1))
        + rng.normal(0, 0.2, (people, samples, photos))
    )
    g = crossed(x)
    assert not g.pooled
    assert g.repeatability == pytest.approx(0.2, rel=0.1)
    assert g.parts == pytest.approx(1.0, rel=0.35)
    assert 0.4 < g.reproducibility < 1.1  # sqrt(0.5^2 + 0.4^2) = 0.64, but from six people only


def test_photos_needed() -> None:
    g = crossed(STUDY)
    width = 6 * 0.302372 / 0.35  # 35 % of the tolerance now
    assert g.share_of_tolerance(width) == pytest.approx(0.35, abs=1e-5)
    m = g.photos_needed(width)
    assert m is not None and g.share_of_tolerance(width, m) <= 0.30 < g.share_of_tolerance(width, m - 1)
    assert g.photos_needed(width, 0.10) is None  # people differ by more than that


def test_one_person_and_too_little() -> None:
    g = crossed(STUDY[:1])
    assert g.reproducibility == 0 and g.repeatability == pytest.approx(
        np.sqrt(STUDY[0].var(axis=1, ddof=1).mean())
    )
    with pytest.raises(ValueError, match="2 samples"):
        crossed(STUDY[:, :1])
