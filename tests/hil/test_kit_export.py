"""`drycount export --c`: the demo's sequences as tables, built and flown beside the reference."""

from __future__ import annotations

import re
from unittest.mock import patch

import pytest
from kit_rig import CORES, LINK, SOURCES, STRICT, KitExecutor, build_host, need, run

from hil.export import BENCH_FILES, KIT_FILES, export_c
from hil.layout_header import KIT, layout_header
from hil.wiring import wiring_of
from sequencer.cli.main import main
from sequencer.execute import ReferenceExecutor
from sequencer.flight import loop
from sequencer.flight.target import Boot
from sequencer.scenario import load_scenario
from sequencer.scenario.starter import demo_folder
from sequencer.sequence import load_sequence
from sequencer.vehicle import Vehicle, load_vehicle, rewired
from sequencer.vehicle.model import Wire

DEMO = ("flight", "pad")
VEHICLE = demo_folder() / "sandpiper.vehicle.toml"
#: one of them knows the wiring that it is built for
WIRING = {
    "flight": wiring_of(
        load_sequence(demo_folder() / "flight.sequence.toml"), load_vehicle(VEHICLE)
    ),
    "pad": None,
}


@pytest.fixture(scope="module")
def exported(tmp_path_factory):
    folder = tmp_path_factory.mktemp("exported")
    for name in DEMO:
        export_c(*written(name, folder), wiring=WIRING[name])
    return folder


def written(name, folder):
    return load_sequence(demo_folder() / f"{name}.sequence.toml"), folder


class _Three:
    """A target that is the reference; beside it runs the kit in both precisions."""

    def __init__(self, sequence, folder, found):
        self._name = sequence.name
        self._found = found
        tables = tuple(folder / f"{sequence.name}_tables.{end}" for end in "hc")
        double = build_host(exported=tables)
        single = build_host("-DDC_SINGLE", exported=tables)
        self._executors = (
            ReferenceExecutor(sequence),
            KitExecutor(sequence, double, exported=True),
            KitExecutor(sequence, single, single=True, exported=True),
        )

    def reset(self, boot):
        for executor in self._executors:
            executor.boot(executor.flags() if boot is Boot.WARM else None)

    def exchange(self, clock, values, fresh):
        outputs = [each.tick(clock, values, fresh) for each in self._executors]
        for kept, told in zip(self._found, outputs, strict=True):
            kept.extend((event, clock) for event in told.events)
        assert repr(outputs[1]) == repr(outputs[0]), (self._name, clock)
        if clock % 7 == 0:  # which takes longer than the tick
            wanted, got = (each.registers() for each in self._executors[:2])
            assert repr({key: got[key] for key in wanted}) == repr(wanted), (self._name, clock)
        return outputs[0]

    def close(self):
        pass

    def describe(self):
        return {"target": "reference and kit"}


@pytest.mark.parametrize("name", ["reboot_in_coast", "replay_calm"])
def test_the_demo_flies_on_its_tables_as_on_the_reference(name, exported):
    """To the bit in double precision; in single precision events come within one tick."""
    reference, double, single = found = [], [], []

    def listen(_on, sequence, _executor, **_otherwise):
        return _Three(sequence, exported, found)

    with patch.object(loop, "open_target", listen):
        loop.fly(load_scenario(demo_folder() / f"{name}.scenario.toml"))
    assert len(reference) > 20
    assert double == reference
    assert [event for event, _ in single] == [event for event, _ in reference]
    assert all(
        abs(tick - wanted) <= 1 for (_, tick), (_, wanted) in zip(single, reference, strict=True)
    )


@pytest.mark.parametrize("precision", ["single", "double"])
@pytest.mark.parametrize("core", CORES)
def test_kit_and_tables_build_without_a_warning(core, precision, exported, tmp_path):
    compiler, *target = CORES[core]
    need(compiler)
    if core == "atmega2560" and precision == "double":
        with pytest.raises(AssertionError, match="build with -DDC_SINGLE"):
            run([compiler, *target, "-std=c99", "-c", KIT / "dc_root.c"], cwd=tmp_path)
        return
    wanted = ["-DDC_SINGLE"] if precision == "single" else []
    tables = sorted(exported.glob("*_tables.c"))
    run(
        [
            *(compiler, *target, *STRICT, *wanted, "-DDC_NAMES", "-DDC_BENCH", "-Os", f"-I{KIT}"),
            *("-c", *SOURCES, *LINK, *tables),
        ],
        cwd=tmp_path,
    )
    objects = sorted(tmp_path.glob("dc_*.o"))
    assert len(objects) == len(SOURCES) + len(LINK)
    (permit,) = (each for each in LINK if each.stem == "dc_link_permit")
    firing = tmp_path / "dc_firing.o"
    build = (compiler, *target, *STRICT, *wanted, "-DDC_BENCH", "-DDC_LINK_DUMMY_LOADS", "-Os")
    run([*build, f"-I{KIT}", "-c", permit, "-o", firing])
    objects.append(firing)
    tools = compiler.removesuffix("gcc").removesuffix("cc")
    # no library but the compiler's own, nothing that changes outside the memory it is given
    asked = run([f"{tools}nm", "-u", *objects]).split()
    own = re.compile(r"(_?dc_\w+|__\w+|_GLOBAL_OFFSET_TABLE_|U|.*:)$")
    assert [symbol for symbol in asked if not own.match(symbol)] == []
    for line in run([f"{tools}size", *objects]).splitlines()[1:]:
        _, data, bss, *_ = line.split()
        assert (data, bss) == ("0", "0"), line


def test_the_same_sequence_gives_the_same_bytes(exported, tmp_path):
    for name in DEMO:
        for path in export_c(*written(name, tmp_path), wiring=WIRING[name]):
            assert path.read_bytes() == (exported / path.name).read_bytes()
            assert max(map(len, path.read_text().splitlines())) <= 100


def test_the_wiring_is_what_the_vehicle_file_says():
    wiring = WIRING["flight"]
    assert wiring.channels == ("F1", "F2", "F3", "F4", "F5", "F6")
    # landing_1, landing_2, separation, main_chute, second_charge
    assert wiring.pulses == (1, 2, 4, 8, 16)
    pad = wiring_of(written("pad", None)[0], load_vehicle(VEHICLE))
    # ascent motors; hold-down, horn and light are not for a bench
    assert pad.pulses == (1, 2, 4, 0, 0, 0)
    assert pad.digest != wiring.digest


def test_what_firmware_is_built_for_goes_by_its_computer(tmp_path):
    """Another channel counts, what is plugged in there does not."""
    vehicle = load_vehicle(VEHICLE)
    assert isinstance(vehicle, Vehicle)
    moved = rewired(vehicle, plugs={"main_charge": "flight.F6"})
    assert moved.wiring_digest != vehicle.wiring_digest
    other = rewired(vehicle, wires={"flight": {"main_chute": Wire(("flight.F4", "flight.F6"))}})
    found = [
        [each.firmware_wiring(name) == vehicle.firmware_wiring(name) for name in DEMO]
        for each in (moved, other)
    ]
    assert found == [[True, True], [False, True]]
    flight = written("flight", tmp_path)[0]
    assert wiring_of(flight, other).pulses == (1, 2, 4, 0b101000, 16)


def test_the_command_takes_a_vehicle(tmp_path, exported, capsys):
    sequence = demo_folder() / "flight.sequence.toml"
    arguments = ["export", str(sequence), "--c", str(tmp_path), "--vehicle", str(VEHICLE)]
    assert main(arguments) == 0
    assert capsys.readouterr().out.count("flight_tables") == 2
    for name in ("flight_tables.h", "flight_tables.c"):
        assert (tmp_path / name).read_bytes() == (exported / name).read_bytes()
    assert "#define flight_wired 1" in (tmp_path / "flight_tables.h").read_text()


def test_the_kit_s_layout_is_that_of_the_executor():
    """`python -m hil.layout_header` writes it anew."""
    assert (KIT / "dc_layout.h").read_text() == layout_header()


def test_the_command_writes_tables_and_kit(tmp_path, capsys):
    sequence = demo_folder() / "pad.sequence.toml"
    assert main(["export", str(sequence), "--c", str(tmp_path / "c"), "--kit", "--bench"]) == 0
    written = capsys.readouterr().out.split()
    assert written == [
        str(tmp_path / "c" / name)
        for name in ("pad_tables.h", "pad_tables.c", *KIT_FILES, *BENCH_FILES)
    ]
    assert load_sequence(sequence).digest in (tmp_path / "c" / "pad_tables.h").read_text()


def test_tables_of_another_kit_do_not_build(exported, tmp_path):
    """Nor those that need wider entries than the kit was told of."""
    compiler = need("cc")
    build = [compiler, "-std=c99", f"-I{KIT}", f"-I{tmp_path}", "-fsyntax-only"]
    header = (exported / "pad_tables.h").read_text()
    source = tmp_path / "old.c"
    source.write_text('#include "pad_tables.h"\n')
    (tmp_path / "pad_tables.h").write_text(re.sub("DC_LAYOUT != 0x", "DC_LAYOUT != 0x1", header))
    with pytest.raises(AssertionError, match="export them again"):
        run([*build, source])
    (tmp_path / "pad_tables.h").write_text(header)
    run([*build, source])
    with pytest.raises(AssertionError, match="-DDC_CODE_BITS=16"):
        run([*build, "-DDC_CODE_BITS=32", source])


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        (["nowhere.toml", "--c", "x"], "nowhere.toml: no such file"),
        (["{pad}"], "export: missing option '--c'; try 'drycount export --help'"),
        (["{pad}", "--c", "{pad}"], "{pad}: is a file, not a folder"),
        (["{pad}", "--c", "{tmp}/no/where"], "{tmp}/no/where: cannot be written: no such file or"),
        (["{pad}", "--c", "{tmp}/x", "--vehicle", "{tmp}/no"], "{tmp}/no: no such file"),
        (
            ["{dc}", "--c", "{tmp}/x", "--vehicle", "{vehicle}"],
            "{dc}:8: is for computer 'dc', which sandpiper.vehicle.toml does not have",
        ),
        (
            ["{bare}", "--c", "{tmp}/x", "--vehicle", "{vehicle}"],
            "{bare}:72: function 'ascent_9' of computer 'pad' is not wired in sandpiper.",
        ),
        (["{dc}", "--c", "{tmp}/x"], "{dc}: names with 'dc_' are the kit's own; rename"),
    ],
)
def test_what_cannot_be_exported_is_told_in_one_line(arguments, complaint, tmp_path, capsys):
    pad = demo_folder() / "pad.sequence.toml"
    dc = tmp_path / "dc.sequence.toml"
    dc.write_text(pad.read_text().replace('name = "pad"', 'name = "dc"', 1))
    bare = tmp_path / "bare.sequence.toml"
    bare.write_text(pad.read_text().replace("ascent_1", "ascent_9"))
    given = {"pad": pad, "dc": dc, "bare": bare, "tmp": tmp_path, "vehicle": VEHICLE}
    assert main(["export", *(each.format(**given) for each in arguments)]) == 2
    said = capsys.readouterr().err
    assert said.startswith(f"drycount: {complaint.format(**given)}")
    assert said.count("\n") == 1
