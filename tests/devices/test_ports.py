"""All serial ports of a host are listed, each by the name that stays longest."""

from __future__ import annotations

from pathlib import Path

from pitlogger.devices.transports.ports import ports


class FakeHost:
    """Folders as ``/dev`` and ``/sys/class/tty`` are laid out."""

    def __init__(self, root: Path) -> None:
        self.dev, self.sys = root / "dev", root / "sys/class/tty"
        for folder in (self.dev, self.sys, self.dev / "serial/by-id", self.dev / "serial/by-path"):
            folder.mkdir(parents=True, exist_ok=True)

    def usb(self, node: str, serial: str, by_id: str = "", by_path: str = "") -> None:
        """Plug an adapter of one make in."""
        (self.dev / node).touch()
        device = self.sys.parents[1] / f"devices/{node}"
        (device / "interface").mkdir(parents=True)
        (device / "idVendor").write_text("1234\n")
        (device / "idProduct").write_text("5678\n")
        if serial:
            (device / "serial").write_text(serial)
        (self.sys / node).mkdir()
        (self.sys / node / "device").symlink_to(device / "interface")
        for kind, name in (("by-id", by_id), ("by-path", by_path)):
            if name:
                link = self.dev / "serial" / kind / name
                link.unlink(missing_ok=True)
                link.symlink_to(self.dev / node)

    def built_in(self, node: str, kind: str, alias: str = "") -> None:
        """Solder a port on."""
        (self.dev / node).touch()
        (self.sys / node).mkdir()
        (self.sys / node / "type").write_text(kind)
        if alias:
            (self.dev / alias).symlink_to(self.dev / node)

    def names(self) -> dict[str, str]:
        """Return the last part of each name, with its note."""
        return {p.name.rpartition("/")[2]: p.note for p in ports(self.dev, self.sys)}


def test_every_port_is_listed_though_one_has_a_lasting_name(tmp_path: Path) -> None:
    host = FakeHost(tmp_path)
    host.usb("ttyUSB0", "ABC", "usb-one", "path-one")
    host.usb("ttyUSB1", "DEF", "", "path-two")
    host.usb("ttyACM0", "GHI")
    host.built_in("ttyAMA0", "2", "serial0")
    host.built_in("ttyS0", "4")
    host.built_in("ttyS1", "0")  # no chip answers
    names = host.names()
    assert list(names) == ["usb-one", "path-two", "ttyACM0", "serial0", "ttyS0"]
    assert names["usb-one"] == ""
    assert "leave it in this one" in names["path-two"]
    assert "may change with every plug" in names["ttyACM0"]


def test_twins_without_serial_numbers_are_named_by_their_plug(tmp_path: Path) -> None:
    host = FakeHost(tmp_path)
    host.usb("ttyUSB0", "", "usb-make-if00", "plug-1")
    host.usb("ttyUSB1", "", "usb-make-if00", "plug-2")
    names = host.names()
    assert list(names) == ["plug-1", "plug-2"]
    assert all("no serial number" in note for note in names.values())


def test_twins_with_serial_numbers_keep_them(tmp_path: Path) -> None:
    host = FakeHost(tmp_path)
    host.usb("ttyUSB0", "A", "usb-make-A", "plug-1")
    host.usb("ttyUSB1", "B", "usb-make-B", "plug-2")
    assert host.names() == {"usb-make-A": "", "usb-make-B": ""}
