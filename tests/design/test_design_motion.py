"""Moving a design: reach, contact, crossings, how far it opens; binding against the closed forms."""

import io
from pathlib import Path

import numpy as np
import pytest
import tomlkit

from compare.design.load_spec import load_spec
from compare.design.spec.spec import Spec
from compare.design.study.concerns import concerns, remarks
from compare.design.study.contact import binding_opening, first_contact
from compare.design.study.design_fixes import fix_for, worst_of
from compare.design.study.motion import move, opens_to
from compare.tell.design.design_text import print_design
from compare.tell.words.designs.design_words import all_told, contact_told, headline, praise, warnings_told
from tests.helpers.made_profiles import ASYMMETRIC, ONE_SIDED, TWO_SIDED, spec_of

SAMPLES = Path(__file__).parents[2] / "sample_images"
ROWS = (
    "good_arch", "one_sided", "tab_support", "many_legs", "asymmetric", "oblique", "stages", "vfold",
    "vfold_uneven", "pillar", "flaps", "background", "scissors",
)  # fmt: skip


def sample(name: str) -> Spec:
    return load_spec(SAMPLES / f"{name}.toml")


@pytest.mark.parametrize("name", ROWS)
def test_sample_designs_are_sound(name: str) -> None:
    spec = sample(name)
    motion = move(spec)
    assert concerns(spec, motion) == ()
    assert "shuts flat" in praise(spec)
    assert motion.opens_to == pytest.approx(np.pi)
    assert len(motion.phi) == 181 and motion.phi[0] == pytest.approx(np.pi) and motion.phi[-1] == 0


def test_reach_is_largest_when_shut_for_stretched_chains() -> None:
    """No point of a chain is ever farther from the spine than stretched (triangle inequality)."""
    for name in ("good_arch", "stages", "flaps", "tab_support", "asymmetric"):
        spec = sample(name)
        motion = move(spec)
        for side in ("left", "right"):
            page = getattr(spec.base, f"page_{side}")
            reach = max(float(r.total(spec.mechanism.lengths)) for r in spec.mechanism.reaches)
            assert np.nanmax(motion.over[side]) + page <= reach + 1e-6, name


# ---- binding: contact, not the triangle inequality ----


@pytest.mark.parametrize(("d", "deg"), [(0.1, 6.4950), (0.5, 14.5911), (1.0, 20.7563), (2.0, 29.7048)])
def test_long_side_of_the_fold_binds_when_the_other_lies_on_its_page(
    tmp_path: Path, d: float, deg: float
) -> None:
    """sin^2(phi/2) = e (B_L + B_R + c_R - c_L) / (4 c_L (c_R + B_R)); the linkage alone goes on to 9.6."""
    m = spec_of(TWO_SIDED, tmp_path).mechanism
    n = {**m.lengths, "fold left": 40.0 + d}
    b, c = 40.0, 12.0
    formula = 2 * np.arcsin(np.sqrt(d * (b + d + b) / (4 * c * (c + b))))
    assert np.degrees(formula) == pytest.approx(deg, abs=6e-5)
    assert binding_opening(m, n, np.pi) == pytest.approx(formula, abs=1e-6)


@pytest.mark.parametrize(
    ("error", "deg"),
    [(-0.5, 10.8105), (-1, 15.3092), (-2, 21.7102), (0.5, 8.4318), (1, 11.9662), (2, 17.0408)],
)
def test_leg_error_binds(tmp_path: Path, error: float, deg: float) -> None:
    """A short leg goes flat on the page; with long legs the two halves of the plane meet."""
    m = spec_of(TWO_SIDED, tmp_path).mechanism
    n = {**m.lengths, "leg right": 40.0 + error}
    if error > 0:
        n["leg left"] = 40.0 + error  # both, as the figures are for both halves folding together
    assert np.degrees(binding_opening(m, n, np.pi)) == pytest.approx(deg, abs=2e-3)


def test_contact_is_named(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED.replace("leg = 40", "leg = 38", 1), tmp_path)
    motion = move(spec)
    assert (
        contact_told(motion.contact)
        == contact_told(first_contact(spec.mechanism, motion.shut_at))
        == "the leg left lies on the page left"
    )
    assert np.degrees(motion.shut_at) == pytest.approx(21.7102, abs=2e-3)


def test_panel_through_panel_is_found(tmp_path: Path) -> None:
    """A support whose tab lies beyond the ridge has to pass through the fold."""
    text = (SAMPLES / "tab_support.toml").read_text(encoding="utf-8")
    text = text.replace("support = 32 ", "support = 46 ").replace("tab = -6 ", "tab = 8 ")
    spec = spec_of(text, tmp_path)
    said = all_told(concerns(spec, move(spec)), spec)
    assert any("the fold right passes through the support left" in s and "slot" in s for s in said), said


def test_a_design_that_stops_before_flat(tmp_path: Path) -> None:
    text = TWO_SIDED.replace("depth = 210", "opening = 150", 1)
    text = text.replace(
        "leg = 40\npage_spacing = 60\nplane_spacing = 60",
        "leg = 30\npage_spacing = 60\nplane_spacing = 50",
        1,
    )
    spec = spec_of(text, tmp_path)
    assert np.degrees(opens_to(spec.mechanism, np.radians(150))) == pytest.approx(174.0878, abs=6e-5)
    assert any(
        "opens to 174.1 degrees and no farther" in c for c in all_told(concerns(spec, move(spec)), spec)
    )


def test_v_fold_pokes_out_half_open(tmp_path: Path) -> None:
    """The tip is farthest from the spine where its crease stands square to it, not when shut."""
    text = (SAMPLES / "vfold.toml").read_text(encoding="utf-8")
    text = text.replace("angle = 90 ", "angle = 60 ").replace("angle = 90\n", "angle = 60\n")
    text = text.replace("near = 28.28 ", "near = 70 ").replace("page = 100", "page = 110")
    spec = spec_of(text, tmp_path)
    motion = move(spec)
    tip = motion.pose.points["vfold tip"]
    away = np.hypot(tip[:, 0], tip[:, 1])
    at = float(np.degrees(motion.phi[int(np.argmax(away))]))
    square = np.degrees(2 * np.arccos(np.cos(np.radians(60)) / np.sin(np.radians(45))))
    assert at == pytest.approx(square, abs=1.0) and 80 < at < 100
    assert away.max() == pytest.approx(34.0, abs=0.02)


def test_overhang_at_head_and_tail(tmp_path: Path) -> None:
    text = (SAMPLES / "vfold.toml").read_text(encoding="utf-8").replace("depth = 100", "depth = 80")
    spec = spec_of(text, tmp_path)
    assert any("beyond the far end" in c for c in all_told(concerns(spec, move(spec)), spec))


@pytest.mark.parametrize(
    ("which", "error", "said"),
    [
        (2, -1.0, "the leg 2 right would have to be 1.0 mm longer"),
        (1, 0.7, "the leg 1 right would have to be 0.7 mm shorter"),
    ],
)
def test_the_leg_that_disagrees_is_named(which: int, error: float, said: str, tmp_path: Path) -> None:
    text = (SAMPLES / "many_legs.toml").read_text(encoding="utf-8")
    head, *legs = text.split("[[right.legs]]")
    legs[which - 1] = legs[which - 1].replace("leg = 36", f"leg = {36 + error}", 1)
    warnings = warnings_told(spec_of("[[right.legs]]".join([head, *legs]), tmp_path))
    assert [w for w in warnings if "would have to be" in w] == [
        said + " to agree with the other legs of its half"
    ]


def test_remarks_say_what_a_photo_cannot_show() -> None:
    spec = sample("vfold")
    said = " ".join(all_told(remarks(spec, move(spec)), spec))
    assert "only a side photo its nod" in said and "24.0 mm away from the camera" in said
    spec = sample("pillar")
    said = " ".join(all_told(remarks(spec, move(spec)), spec))
    assert "52.0 mm to 100.1 mm" in said and "leans -2.6 degrees" in said
    spec = sample("oblique")
    said = " ".join(all_told(remarks(spec, move(spec)), spec))
    assert "right half of the plane is oblique by design" in said and "+8.0 degrees open" in said
    spec = sample("many_legs")
    assert any("stands on 2 legs" in r for r in all_told(remarks(spec, move(spec)), spec))


def test_asymmetric_fold_leans_over_as_it_closes(tmp_path: Path) -> None:
    """Ridge off the bisector by design, and still every sum closes."""
    spec = spec_of(ASYMMETRIC, tmp_path)
    motion = move(spec)
    off = np.abs(motion.pose.joints["ridge"][:, 0])
    assert off[0] > 5 and off[-1] < 1e-5
    assert motion.shut_at == 0 and all(abs(v) < 1e-9 for v in spec.mechanism.closing_errors().values())


def test_drawn_linkage_that_does_not_shut_is_found_out(tmp_path: Path) -> None:
    """Unequal roofs: shut, the apex would have to lie in two places 4 mm apart."""
    text = (SAMPLES / "scissors.toml").read_text(encoding="utf-8")
    m = load_spec(SAMPLES / "scissors.toml").mechanism
    assert binding_opening(m, None, np.pi) == 0.0
    n = {**m.lengths, "roof left": m.lengths["roof left"] + 4.0}
    phi = binding_opening(m, n, np.pi)
    assert 10 < np.degrees(phi) < 60
    pose = m.solve(n, np.array([phi + 1e-3, phi - 1e-3]))  # just before, just after
    u = np.array([np.sin(phi / 2), np.cos(phi / 2)])
    apex = pose.joints["apex"]
    beyond = np.abs(apex[:, 0]) * u[1] - apex[:, 1] * u[0]  # over the page's line
    assert beyond[0] < 0.05 and (not np.isfinite(beyond[1]) or beyond[1] > -0.05)
    path = tmp_path / "scissors.toml"
    path.write_text(text.replace('"apex" = [0, 76.21]', '"apex" = [6.5, 76.21]'), encoding="utf-8")
    spec = load_spec(path)
    assert any("first jams" in w for w in warnings_told(spec))


FAULTY = {
    "leg": ("leg = 40", "leg = 41"),
    "spacing": ("plane_spacing = 60", "plane_spacing = 58.5"),
    "foot": ("foot_left = 12", "foot_left = 13"),
    "fold": ("left = 40", "left = 39"),
    "plane out": ("right = 90", "right = 100"),
    "plane near the edge": ("right = 90", "right = 96"),
    "strips too deep": ("depth = 210", "depth = 210\n[card]\nstrip_depth = 240"),
}


@pytest.mark.parametrize("what", FAULTY)
def test_the_number_named_cures_the_fault(what: str, tmp_path: Path) -> None:
    """Each fault of a spread names one number of the file; changed so, nothing is wrong any more."""
    old, new = FAULTY[what]
    assert old in TWO_SIDED
    text = TWO_SIDED.replace(old, new, 1)
    for _ in range(3):  # one mistake may make several faults, each with its number
        spec = spec_of(text, tmp_path)
        wrong = concerns(spec, move(spec))
        if not wrong:
            break
        fix = fix_for(spec, worst_of(wrong))
        assert fix is not None, wrong
        document = tomlkit.parse(text)
        document[fix.table][fix.key] = round(fix.value, 2)  # type: ignore[index]
        text = tomlkit.dumps(document)
    assert text != TWO_SIDED.replace(old, new, 1) and concerns(spec, move(spec)) == ()


def test_what_keeps_it_from_shutting_comes_first(tmp_path: Path) -> None:
    text = TWO_SIDED.replace("right = 90", "right = 96").replace("leg = 40", "leg = 41", 1)
    spec = spec_of(text, tmp_path)
    said = headline(spec, concerns(spec, move(spec)))
    assert said.startswith("The design does not shut flat: left") and "Change [left] leg to 40 mm." in said
    assert "more below" in said


def test_an_oblique_plane_is_not_praised_for_pairs_that_differ() -> None:
    spec = sample("oblique")
    assert praise(spec) == "every sum closes, it shuts flat and clear"
    out = io.StringIO()
    print_design(spec, out)
    assert out.getvalue().count("by design") == 3  # two pairs, and the remark


def test_an_oblique_plane_that_jams_is_followed_as_far_as_it_goes(tmp_path: Path) -> None:
    text = (SAMPLES / "oblique.toml").read_text(encoding="utf-8").replace("left = 36", "left = 34.5", 1)
    spec = spec_of(text, tmp_path)
    said = " ".join(all_told(remarks(spec, move(spec)), spec))
    assert "oblique by design" in said and "nan" not in said and "as far as it shuts" in said


@pytest.mark.parametrize("change", [{"leg right": 0.5}, {"leg right": 2.0}, {"page spacing right": 1.5}])
def test_a_lone_half_meets_the_other_page_where_it_reaches_it(
    change: dict[str, float], tmp_path: Path
) -> None:
    """Against segments that cross, looked for at every fiftieth of a degree; not where directions cross."""
    m = spec_of(ONE_SIDED, tmp_path).mechanism
    n = {**m.lengths, **{k: m.lengths[k] + v for k, v in change.items()}}

    def beside(o: np.ndarray, a: np.ndarray, b: np.ndarray) -> float:
        return float((a - o)[0] * (b - o)[1] - (a - o)[1] * (b - o)[0])

    hit = 0.0
    for deg in np.arange(0.5, 20.0, 0.02):
        j = m.solve(n, np.array(np.radians(deg))).joints
        a, b, p, q = j["ridge"], j["plane edge right"], j["spine"], j["fore edge left"]
        if beside(a, b, p) * beside(a, b, q) < 0 and beside(p, q, a) * beside(p, q, b) < 0:
            hit = float(deg)
    assert hit > 3
    assert np.degrees(binding_opening(m, dict(n), np.pi)) == pytest.approx(hit, abs=0.03)
