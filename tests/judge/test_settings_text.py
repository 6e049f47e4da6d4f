"""What a loader's settings say, in the forms that people's loaders have."""

from __future__ import annotations

import pytest

from bootwatch.judge.menu import OWN, UNKNOWN, By, Menu, Role, Stanza, Target, Where
from bootwatch.judge.settings_text import parse
from tests.pace import Stopwatch

ROOT = "3d1c9a52-77aa-4e0b-8f11-5b6c7d8e9f00"
SERIAL = "1A2B-3C4D"


def read(text: str) -> Menu:
    return parse(text.encode())


def only(text: str) -> Stanza:
    (stanza,) = read(text).stanzas
    return stanza


def named(*names: str) -> Where:
    return Where(By.NAME, names)


def test_a_stub_that_goes_on_elsewhere() -> None:
    """What lies beside a loader whose real settings are on the system's own file system."""
    stanza = only(
        f"search.fs_uuid {ROOT} root hd0,gpt2\nset prefix=($root)'/boot/menu'\nconfigfile $prefix/menu.cfg\n"
    )
    assert stanza.targets == (Target(Role.SETTINGS, "\\boot\\menu\\menu.cfg", named(ROOT)),)


def test_a_stub_with_a_variable_of_its_own() -> None:
    text = f"search --no-floppy --root-dev-only --fs-uuid --set=dev {ROOT}\nset prefix=($dev)/menu\n"
    stanza = only(text + "export $prefix\nconfigfile $prefix/menu.cfg\n")
    assert stanza.targets == (Target(Role.SETTINGS, "\\menu\\menu.cfg", named(ROOT)),)


IN_BRACES = f"""
set default="0"
if [ x$feature_hint = xy ]; then
  search --no-floppy --fs-uuid --set=root --hint-efi=hd0,gpt2  {ROOT}
else
  search --no-floppy --fs-uuid --set=root {ROOT}
fi
    font="/usr/share/menu/unicode.pf2"
if loadfont $font ; then
  set theme=($root)/usr/share/themes/plain/theme.txt
fi
function load_video {{
  insmod all_video
}}
menuentry 'Fernwick Linux' --class linux $menuentry_id_option 'plain-{ROOT}' {{
        load_video
        set root='hd0,gpt1'
        search --no-floppy --fs-uuid --set=root {SERIAL}
        echo 'Loading Linux 6.1 ...'
        linux   /fernwick/6.1/linux root=UUID={ROOT} ro quiet
        initrd  /fernwick/6.1/initrd
}}
submenu 'More choices for Fernwick Linux' {{
        menuentry 'Fernwick Linux, 6.0 (rescue)' {{
                search --fs-uuid --set=root {SERIAL}
                linuxefi /fernwick/6.0/linux root=UUID={ROOT} single
                initrdefi /microcode.img /fernwick/6.0/initrd
        }}
}}
menuentry "Quarry" {{
        search --fs-uuid --set=root 9A0C-7B03
        chainloader /EFI/quarry/startx64.efi
}}
if [ -f  ${{config_directory}}/custom.cfg ]; then
  source ${{config_directory}}/custom.cfg
fi
"""


def test_entries_in_braces() -> None:
    menu = read(IN_BRACES)
    assert menu.default == "0"
    entries = {stanza.title: stanza for stanza in menu.stanzas}
    assert list(entries) == ["Fernwick Linux", "Fernwick Linux, 6.0 (rescue)", "Quarry", ""]
    first = entries["Fernwick Linux"]
    assert first.targets == (
        Target(Role.KERNEL, "\\fernwick\\6.1\\linux", named(SERIAL)),
        Target(Role.INITRD, "\\fernwick\\6.1\\initrd", named(SERIAL)),
    )
    assert first.roots == (ROOT,)
    older = entries["Fernwick Linux, 6.0 (rescue)"].targets
    assert [target.path for target in older] == [
        "\\fernwick\\6.0\\linux",
        "\\microcode.img",
        "\\fernwick\\6.0\\initrd",
    ]
    assert entries["Quarry"].targets == (
        Target(Role.PROGRAM, "\\EFI\\quarry\\startx64.efi", named("9A0C-7B03")),
    )
    assert entries[""].targets == (Target(Role.SETTINGS, "custom.cfg", OWN, is_optional=True),)


def test_entries_in_braces_with_backslashes() -> None:
    menu = read(
        'timeout 5\ndefault_selection "Fernwick"\nmenuentry "Fernwick" {\n'
        "    icon     \\EFI\\menu\\icons\\fernwick.png\n    volume   FERNWICK\n"
        "    loader   \\fernwick\\linux\n    initrd   \\fernwick\\initrd\n"
        f'    options  "root=PARTUUID={ROOT} initrd=\\microcode.img"\n}}\n'
        'menuentry "Quarry" {\n    volume 0d9be3a4-62c8-4e17-b3fd-78a4c05e9d03\n'
        "    loader \\EFI\\quarry\\startx64.efi\n}\n"
    )
    assert menu.default == "Fernwick"
    fernwick, quarry = menu.stanzas
    assert [(target.role, target.path) for target in fernwick.targets] == [
        (Role.KERNEL, "\\fernwick\\linux"),
        (Role.INITRD, "\\fernwick\\initrd"),
        (Role.INITRD, "\\microcode.img"),
    ]
    assert {target.where for target in fernwick.targets} == {named("label:FERNWICK")}
    assert fernwick.roots == (ROOT,)
    assert quarry.targets == (
        Target(Role.PROGRAM, "\\EFI\\quarry\\startx64.efi", named("0d9be3a4-62c8-4e17-b3fd-78a4c05e9d03")),
    )


def test_entries_under_headings_with_colons() -> None:
    menu = read(
        "timeout: 3\n\n/Fernwick Linux\n    protocol: linux\n    path: boot():/fernwick/linux\n"
        f"    cmdline: root=UUID={ROOT} rw\n    module_path: boot():/fernwick/initrd\n\n"
        f"/Quarry\n    protocol: efi\n    path: uuid({SERIAL}):/EFI/quarry/startx64.efi\n"
    )
    fernwick, quarry = menu.stanzas
    assert (fernwick.title, quarry.title) == ("Fernwick Linux", "Quarry")
    assert fernwick.targets == (
        Target(Role.KERNEL, "\\fernwick\\linux"),
        Target(Role.INITRD, "\\fernwick\\initrd"),
    )
    assert fernwick.roots == (ROOT,)
    assert quarry.targets == (Target(Role.PROGRAM, "\\EFI\\quarry\\startx64.efi", named(SERIAL)),)


def test_entries_under_labels() -> None:
    menu = read(
        "DEFAULT fernwick\nLABEL fernwick\n    MENU LABEL Fernwick Linux\n    LINUX ../vmlinuz-fernwick\n"
        f"    APPEND root=UUID={ROOT} rw initrd=/fernwick/initrd,/fernwick/more\n"
        "LABEL rescue\n    LINUX /tarn/linux\n    INITRD /tarn/initrd\n"
    )
    assert menu.default == "fernwick"
    fernwick, rescue = menu.stanzas
    assert [target.path for target in fernwick.targets] == [
        "..\\vmlinuz-fernwick",
        "\\fernwick\\initrd",
        "\\fernwick\\more",
    ]
    assert (fernwick.title, fernwick.roots, rescue.title) == ("fernwick", (ROOT,), "rescue")
    assert [target.path for target in rescue.targets] == ["\\tarn\\linux", "\\tarn\\initrd"]


def test_entries_without_headings() -> None:
    menu = read(
        "image=/fernwick/linux\n\tlabel=fernwick\n\tinitrd=/fernwick/initrd\n\timage=/fernwick/older\n"
    )
    assert [[target.path for target in stanza.targets] for stanza in menu.stanzas] == [
        ["\\fernwick\\linux", "\\fernwick\\initrd"],
        ["\\fernwick\\older"],
    ]


def test_sections() -> None:
    stanza = only("[tarn]\ntitle=Tarn Rescue\nkernel=\\tarn\\linux\ninitrd=\\tarn\\initrd\n")
    assert (stanza.title, len(stanza.targets)) == ("Tarn Rescue", 2)


@pytest.mark.parametrize(
    ("lines", "where"),
    [
        ("search --label --set=root FERNWICK", named("label:FERNWICK")),
        ("search --set=root --label FERNWICK --hint hd0", named("label:FERNWICK")),
        ("search.fs_label FERNWICK root", named("label:FERNWICK")),
        ("search --file --set=root /fernwick/id", Where(By.FILE, ("\\fernwick\\id",))),
        ("search.file /fernwick/id root", Where(By.FILE, ("\\fernwick\\id",))),
        ("set root=(hd0,gpt2)", UNKNOWN),
        ("root (hd0,1)", UNKNOWN),
        (f"search --fs-uuid --set {SERIAL}", named(SERIAL)),
        ("partuuid 0badcafe-01", named("0badcafe-01")),
        ("timeout 5", OWN),
    ],
)
def test_ways_to_name_a_file_system(lines: str, where: Where) -> None:
    assert only(f"{lines}\nlinux /fernwick/linux").targets[0].where == where


@pytest.mark.parametrize(
    ("word", "where"),
    [
        ("(hd0,gpt1)/fernwick/linux", UNKNOWN),
        ("($root)/fernwick/linux", OWN),
        (f"({SERIAL})/fernwick/linux", named(SERIAL)),
        (f"guid({ROOT}):/fernwick/linux", named(ROOT)),
        ("fslabel(FERNWICK):/fernwick/linux", named("label:FERNWICK")),
        ("boot():/fernwick/linux", OWN),
        ("fs0:\\fernwick\\linux", UNKNOWN),
    ],
)
def test_file_systems_in_the_path(word: str, where: Where) -> None:
    assert only(f"kernel {word}").targets == (Target(Role.KERNEL, "\\fernwick\\linux", where),)


@pytest.mark.parametrize(
    "line",
    [
        "# linux /fernwick/linux",
        "background_image /fernwick/picture.png",
        "loadfont ($root)/fonts/plain.pf2",
        "image /fernwick/picture.png",
        "icon \\EFI\\quarry\\startx64.efi.png",
        "linux http://server/fernwick/linux",
        "linux $kernel",
        "linux /fernwick/$version/linux",
        "linux /fernwick/linux-*",
        "insmod part_gpt",
        "scan_driver_dirs /EFI/tools/driver.efi",
        "if [ -e /EFI/quarry/startx64.efi ]; then",
        "linux",
        "initrd",
        "{ } ' \" ( ) [ ] = :",
    ],
)
def test_lines_that_name_nothing_to_start(line: str) -> None:
    assert [stanza.targets for stanza in read(line + "\n").stanzas] == []


def test_a_path_in_quotes_with_blanks() -> None:
    assert (
        only('chainloader "/EFI/other quarry/start x64.efi"').targets[0].path
        == "\\EFI\\other quarry\\start x64.efi"
    )


def test_conditions_on_one_line() -> None:
    text = 'if [ "$a" = "b" ]; then linux /fernwick/a; fi\nlinux /fernwick/b\n'
    targets = [target for stanza in read(text).stanzas for target in stanza.targets]
    assert [(target.path, target.is_optional) for target in targets] == [
        ("\\fernwick\\a", True),
        ("\\fernwick\\b", False),
    ]


def test_variables() -> None:
    text = "set base=/fernwick\nset version=6.1\nlinux ${base}/$version/linux\n"
    assert only(text).targets[0].path == "\\fernwick\\6.1\\linux"


def test_variables_that_double_themselves_stay_short() -> None:
    text = "set a=/" + "x" * 100 + "\n" + "set a=$a$a$a$a\n" * 500 + "linux $a\n"
    assert all(len(target.path) <= 1025 for stanza in read(text).stanzas for target in stanza.targets)


def test_utf_16() -> None:
    (stanza,) = parse("linux /fernwick/linux\r\n".encode("utf-16")).stanzas
    assert stanza.targets[0].path == "\\fernwick\\linux"


def test_only_a_file_system() -> None:
    (stanza,) = read(f"search.fs_uuid {ROOT} root\n").stanzas
    assert (stanza.targets, stanza.places) == ((), (ROOT,))


@pytest.mark.parametrize(
    "text",
    [
        "menuentry 'x' {\n" * 30_000,
        "}" * 65_536,
        "'" * 65_536,
        "\"'" * 32_768,
        "(" * 65_536,
        "linux " + "/" * 65_000,
        "linux " + "/a" * 32_000,
        "a=" * 32_000,
        "$a" * 32_000,
        "set a=$a$a\n" * 6000,
        "search --fs-uuid 1A2B-3C4D\n" * 2500,
        "linux /x\n" * 7000,
        "initrd " + "/x " * 20_000,
        "options " + "root=UUID=1A2B-3C4D " * 3000,
        "x: y\n" * 13_000,
        "if\n" * 20_000 + "fi\n" * 1000,
        "\0" * 65_536,
        "\x85\u2028".join("linux /a" for _ in range(5000)),
        "[" + "a" * 65_000 + "]",
        "title " + "é" * 30_000,
        ";" * 65_000,
        "linux uuid(" + "f" * 60_000 + "):/x",
    ],
)
def test_hostile_settings_are_read_soon(text: str) -> None:
    data = text.encode()
    watch = Stopwatch()
    menu = parse(data)
    assert watch.seconds() < 0.4
    assert len(menu.stanzas) <= 500
    assert all(len(stanza.targets) <= 40 for stanza in menu.stanzas)
    assert sum(len(target.path) for stanza in menu.stanzas for target in stanza.targets) < 1 << 20
