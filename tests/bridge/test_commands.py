"""The command line as people use it: what it prints, how it leaves."""

from __future__ import annotations

import json
import shutil
import threading
from dataclasses import replace

import pytest
from bridge_live import write_config
from bridge_world import World

from firmware_bridge.cli import main
from firmware_bridge.config import read_config
from firmware_bridge.errors import LinkError
from firmware_bridge.journal.audit import AuditLog, Entry
from firmware_bridge.service.locks import Locks, client_id
from firmware_bridge.service.run import run
from firmware_bridge.wire.topics import link_topics
from ventcalc.commands.main import main as ventcalc


@pytest.fixture
def recorded(tmp_path):
    """A configuration whose data folder holds an hour of readings."""
    config = write_config(tmp_path, 1)
    one = World(tmp_path / "data", advice_every_s=1.0)
    one.run(3600)
    one.service.shutdown()
    one.close()
    return config


def test_help_says_who_is_in_charge(capsys):
    assert main(["--help"]) == 0
    out = capsys.readouterr().out
    assert "limits and interlocks always win" in out
    for command in ("run", "check", "simulate", "replay", "verify", "export"):
        assert command in out


@pytest.mark.parametrize(
    "words", [[], ["fly"], ["run"], ["check", "none.toml"], ["export", "x.toml", "--bay", "b"]]
)
def test_bad_words_give_2_and_plain_lines(words, capsys):
    assert main(words) == 2
    err = capsys.readouterr().err
    assert err.startswith("firmware-bridge: ")
    assert "Traceback" not in err


def test_check_tells_all_problems_of_bay_files_at_once(tmp_path, capsys):
    config = write_config(tmp_path, 1)
    (tmp_path / "bay.toml").write_text('[bay]\nname = "x"\n')
    text = config.read_text().replace(str(read_config(config).bays[0].bay_file), "bay.toml")
    config.write_text(text)
    assert main(["check", str(config), "--no-broker"]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) > 5
    assert all(line.startswith("firmware-bridge: bay-1: bay.toml") for line in lines)


def test_check_of_a_sound_configuration(tmp_path, capsys):
    assert main(["check", str(write_config(tmp_path, 1)), "--no-broker"]) == 0
    assert "sound" in capsys.readouterr().out


def test_verify(recorded, capsys):
    assert main(["verify", str(recorded)]) == 0
    assert "entries are sound" in capsys.readouterr().out


def test_verify_finds_a_log_that_was_put_in_its_place(recorded, tmp_path, capsys):
    for path in (tmp_path / "data").glob("audit.db*"):
        path.unlink()
    other = AuditLog(tmp_path / "data" / "audit.db")
    other.write([Entry(t=0.0, bay="bay-1", kind="advice", body=b"")])
    other.close()
    assert main(["verify", str(recorded)]) == 1
    assert "cut off" in capsys.readouterr().out


def test_replay_of_journal_and_of_csv_agree(recorded, tmp_path, capsys):
    assert main(["replay", str(recorded), "--bay", "bay-1"]) == 0
    journal = capsys.readouterr().out
    out = tmp_path / "out.csv"
    assert main(["export", str(recorded), "--bay", "bay-1", "--out", str(out)]) == 0
    capsys.readouterr()
    assert main(["replay", str(recorded), "--bay", "bay-1", "--csv", str(out)]) == 0
    assert capsys.readouterr().out == journal
    assert journal.count("outside fan") > 30


def test_the_season_record_reads_what_was_stored_and_advised(recorded, tmp_path, capsys):
    """Both exports lie beside a bay file; the simulated controller does what it is told."""
    shutil.copy(read_config(recorded).bays[0].bay_file, tmp_path / "store.toml")
    words = ["export", str(recorded), "--bay", "bay-1", "--out"]
    assert main([*words, str(tmp_path / "store.readings.csv")]) == 0
    assert main([*words, str(tmp_path / "store.advice.csv"), "--what", "advice"]) == 0
    assert main([*words, str(tmp_path / "x.parquet"), "--what", "advice"]) == 2
    capsys.readouterr()
    assert ventcalc(["record", str(tmp_path / "store.toml"), "--json"]) == 0
    (bay,) = json.loads(capsys.readouterr().out)["bays"]
    assert bay["problems"] == []
    assert 0.4 < bay["advice"]["advised_h"] <= 1.0, "an hour of readings, advice from the start"
    assert bay["advice"]["followed_share"] > 0.8


@pytest.mark.parametrize(
    ("words", "piece"),
    [
        (["--bay", "bay-9", "--out", "x.csv"], "not in the configuration"),
        (["--bay", "bay-1", "--out", "x.doc"], "must end in"),
        (["--bay", "bay-1", "--out", "/nowhere/x.csv"], "cannot be written"),
        (["--bay", "bay-1", "--out", "x.csv", "--since", "soon"], "no date"),
    ],
)
def test_export_refusals(recorded, capsys, words, piece):
    assert main(["export", str(recorded), *words]) == 2
    assert piece in capsys.readouterr().err


def test_simulate_does_not_send_passwords_in_the_clear(tmp_path, capsys):
    bay = read_config(write_config(tmp_path, 1)).bays[0].bay_file
    words = ["simulate", "--host", "192.0.2.1", "--bay", "bay-1", "--bay-file", str(bay)]
    assert main(words) == 2
    assert "in the clear" in capsys.readouterr().err


def test_run_leaves_when_told_without_a_broker(tmp_path):
    config = read_config(write_config(tmp_path, 1))
    stop, turns = threading.Event(), []

    def enough(service, link):
        turns.append(service.views()[0].decision.code)
        if len(turns) > 3:
            stop.set()

    run(config, stop, each_turn=enough)
    assert turns[-1] == "start"
    run(config, stop)  # locks are free again


def test_one_bridge_a_bay_and_a_data_folder(tmp_path):
    config = read_config(write_config(tmp_path, 1))
    first = Locks(config)
    with pytest.raises(LinkError, match="data folder"):
        Locks(config)
    other = read_config(write_config(tmp_path, 1, name="bridge-b", data=tmp_path / "other"))
    with pytest.raises(LinkError, match="bay bay-1"):
        Locks(other)
    first.release()
    Locks(other).release()


def test_without_a_folder_for_them_locks_stay_in_the_data_folder(tmp_path):
    """Nothing in a place that others may write to can keep the bridge from starting."""
    config = read_config(write_config(tmp_path, 1))
    config = replace(config, bridge=replace(config.bridge, locks=None))
    locks = Locks(config)
    assert [file.name for file in config.bridge.data.iterdir()] == ["lock"]
    assert (config.bridge.data / "lock").stat().st_mode & 0o777 == 0o600
    locks.release()
    (config.bridge.data / "lock").unlink()
    (config.bridge.data / "lock").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(LinkError, match="no lock can be taken"):
        Locks(config)
    assert not (tmp_path / "elsewhere").exists()


def test_client_id_is_kept_and_short(tmp_path):
    config = read_config(write_config(tmp_path, 1))
    assert client_id(config) == client_id(config)
    assert len(client_id(config)) <= 23


def test_subscriptions_do_not_overlap(tmp_path):
    config = read_config(write_config(tmp_path, 1, bays=("bay-1", "bay-2")))
    found = [topic for topic, _ in link_topics(config)]
    assert len(found) == len(set(found)) == 4
    assert not any("#" in topic for topic in found)
    assert json.dumps(found)
