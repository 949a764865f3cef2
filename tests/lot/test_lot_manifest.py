"""Which photo shows which sample: manifests, naming rules, and what is wrong with them."""

from pathlib import Path

import pytest

from compare.compare_errors import LotError
from compare.lot.run.manifest import naming_pattern, read_lot
from compare.lot.run.unused_photos import NoManifest, OffTheRule
from compare.tell.words.lots.unused_words import lot_note, unused_words


def folder_with(place: Path, *names: str, manifest: str | None = None) -> Path:
    for name in names:
        (place / name).write_bytes(name.encode())
    if manifest is not None:
        (place / "manifest.csv").write_text(manifest, encoding="utf-8")
    return place


def test_manifest(tmp_path: Path) -> None:
    text = (
        "\ufeffSample;photo;assembler;time\n7;b.jpg;Wren;2024-05-14T08:10\n7;a.jpg;Wren;\n\n3;c.jpg;Tolly;x\n"
    )
    lot = read_lot(folder_with(tmp_path, "a.jpg", "b.jpg", "c.jpg", "d.JPG", "notes.txt", manifest=text))
    first, second = lot.samples
    assert [s.path.name for s in first] == ["b.jpg", "a.jpg"] and [s.path.name for s in second] == ["c.jpg"]
    assert (first[0].sample, first[0].place, second[0].place) == ("7", 0, 1)  # as made, not as named
    assert first[0].labels == {"assembler": "Wren"} and first[0].made_at == "2024-05-14T08:10"
    assert lot.name == tmp_path.name and lot.missing == ()
    assert [lot_note(n) for n in lot.notes] == ["Not in manifest.csv, so left out: d.JPG."]


def test_missing_photos_are_told_and_the_rest_goes_on(tmp_path: Path) -> None:
    lot = read_lot(folder_with(tmp_path, "a.jpg", manifest="sample,photo\n1,a.jpg\n2,gone.jpg\n"))
    assert len(lot.shots) == 1
    ((name, reason),) = lot.missing
    assert name == "gone.jpg" and unused_words(reason).startswith(
        "manifest.csv, line 3: there is no such photo"
    )


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("", "empty"),
        ("probe,photo\n1,a.jpg\n", "line 1: the column 'sample' is missing"),
        ("sample,photo,photo\n1,a.jpg,b.jpg\n", "line 1: a column is named twice"),
        ("sample,photo\n,a.jpg\n", "line 2: sample is empty"),
        ("sample,photo\n1,a.jpg\n2\n", "line 3: photo is empty"),
        ("sample,photo\n1,a.jpg\n2,a.jpg\n", "line 3: a.jpg stands in line 2 already"),
        ("sample,photo\n1,a.jpg,Wren\n", "line 2: 3 cells, 2 columns"),
        ("sample,photo\n1,../a.jpg\n", "line 2: ../a.jpg leaves the folder"),
        ("sample,photo\n1,day1/../../a.jpg\n", "line 2: .* leaves the folder"),
        ("sample,photo\n1,/etc/passwd\n", "line 2: /etc/passwd leaves the folder"),
        ("sample,photo\n1,C:\\\\a.jpg\n", "line 2: .* leaves the folder"),
        (f"sample,photo\n1,{'x' * 300}.jpg\n", "line 2: a cell of 304 characters"),
        (f"sample,photo\n1,a.jpg\n2,{'x' * 200_000}\n", "line 3: no line of a table"),
        ('sample,photo\n1,"a.jpg\n2,b.jpg\n' + "3,c.jpg\n" * 30, "is a quote left open|Is a quote left open"),
        ("sample,photo\n1\x1b[31m,a.jpg\n", "line 2: a cell holds a control character"),
    ],
)
def test_bad_manifests(tmp_path: Path, text: str, match: str) -> None:
    with pytest.raises(LotError, match=match):
        read_lot(folder_with(tmp_path, "a.jpg", manifest=text))


def test_samples_whose_names_look_alike_stay_apart(tmp_path: Path) -> None:
    names = ("a\u200b", "a\u200c")
    lot = read_lot(folder_with(tmp_path, *(f"{n}.jpg" for n in names)))
    assert [len(shots) for shots in lot.samples] == [1, 1]
    assert {shot.sample for shot in lot.shots} == {"a?"}


def test_a_name_no_file_can_have_is_not_there(tmp_path: Path) -> None:
    lot = read_lot(folder_with(tmp_path, "a.jpg", manifest=f"sample,photo\n1,a.jpg\n2,{'ä' * 150}\n"))
    assert [name for name, _ in lot.missing] == ["ä" * 150]


def test_manifest_that_is_no_text(tmp_path: Path) -> None:
    folder_with(tmp_path, "a.jpg")
    (tmp_path / "manifest.csv").write_bytes(b"sample,photo\n\xff\xfe,a.jpg\n")
    with pytest.raises(LotError, match="not UTF-8"):
        read_lot(tmp_path)
    with pytest.raises(LotError, match="cannot be read: No such file"):
        read_lot(tmp_path, tmp_path / "list.csv")


def test_naming_rule(tmp_path: Path) -> None:
    folder_with(tmp_path, "A-10_2.jpg", "A-2_1.jpg", "A-10_1.jpg", "B-3_1.jpg", "cat.jpg")
    lot = read_lot(tmp_path, naming="{die}-{sample}_{shot}")
    assert [(s[0].sample, len(s)) for s in lot.samples] == [("2", 1), ("10", 2), ("3", 1)]  # 2 before 10
    assert lot.shots[0].labels == {"die": "A"}
    assert lot.missing == (("cat.jpg", OffTheRule("{die}-{sample}_{shot}")),)


@pytest.mark.parametrize("rule", ["{shot}", "{sample}_{sample}", "{sample", "{sample}{"])
def test_bad_naming_rules(rule: str) -> None:
    with pytest.raises(LotError, match="the rule for the photos' names"):
        naming_pattern(rule)


def test_without_a_manifest_every_photo_is_a_sample(tmp_path: Path) -> None:
    lot = read_lot(folder_with(tmp_path, "p10.jpg", "p9.heic", ".p1.jpg"))
    assert [s[0].sample for s in lot.samples] == ["p9", "p10"] and lot.notes == (NoManifest(),)


def test_folders_that_hold_nothing(tmp_path: Path) -> None:
    with pytest.raises(LotError, match="no photos"):
        read_lot(tmp_path)
    with pytest.raises(LotError, match="no such folder"):
        read_lot(tmp_path / "none")
    with pytest.raises(LotError, match="give one of them"):
        read_lot(tmp_path, tmp_path / "m.csv", "{sample}")
