"""FAT volumes for hypothesis: well-formed ones with what they hold, and the same with bytes changed."""

from hypothesis import strategies as st

from .fat_maker import File, Folder, Maker, build

Tree = list[File | Folder]
Content = dict[str, bytes | None]

# A long name: no character that ends or separates names; what it is equal to depends on case.
_long_names = st.text(
    st.characters(blacklist_categories=["Cs", "Cc"], blacklist_characters='\\/\0:*?"<>|\uffff'),
    min_size=1,
    max_size=40,
).filter(lambda name: name.strip(" .") != "" and len(name.encode("utf-16-le")) <= 510)
_short_names = st.from_regex(r"[A-Z0-9_~]{1,8}(\.[A-Z0-9]{1,3})?", fullmatch=True)
_names = _short_names | _long_names
_files = st.builds(
    File, _names, st.binary(max_size=40) | st.sampled_from([bytes(512), b"MZ" * 700]), st.booleans()
)


def _folders(inner: st.SearchStrategy[Tree]) -> st.SearchStrategy[Tree]:
    return st.lists(_files | st.builds(Folder, _names, inner), max_size=5, unique_by=_same)


def _same(entry: File | Folder) -> object:
    """Equal for names that a driver may take for one."""
    return entry.name.upper().lower()


_flat: st.SearchStrategy[Tree] = st.lists(_files, max_size=4, unique_by=_same)
trees = st.recursive(_flat, _folders, max_leaves=8)
labels = st.from_regex(r"[A-Z0-9]{0,11}", fullmatch=True)
# FAT12 and FAT32 as small as they come; what has 4085 clusters is FAT16.
_makers = st.sampled_from([(12, 300, 512, 1), (12, 300, 1024, 2), (32, 300, 512, 1), (16, 4085, 512, 1)])


@st.composite
def well_formed_volumes(draw: st.DrawFn) -> tuple[Maker, Tree, str]:
    """A volume, what is in it, and its label."""
    kind, clusters, sector, per_cluster = draw(_makers)
    maker = Maker(kind, clusters, sector=sector, per_cluster=per_cluster)
    tree, label = draw(trees), draw(labels)
    return build(maker, tree, label), tree, label


def content(tree: Tree, above: str = "") -> Content:
    """What a walk must find: each path and its content, None for folders."""
    found: Content = {}
    for entry in tree:
        path = f"{above}\\{entry.name}"
        if isinstance(entry, Folder):
            found[path] = None
            found.update(content(entry.entries, path))
        elif not entry.removed:
            found[path] = entry.content
    return found


def removed(tree: Tree) -> list[int]:
    """The sizes of the removed files."""
    inner = [size for entry in tree if isinstance(entry, Folder) for size in removed(entry.entries)]
    return inner + [len(entry.content) for entry in tree if isinstance(entry, File) and entry.removed]


@st.composite
def any_volumes(draw: st.DrawFn) -> bytes:
    """A well-formed volume with a few bytes changed where that matters, and maybe cut."""
    maker, _, _ = draw(well_formed_volumes())
    data = bytearray(maker.data)
    used = maker.at(maker.next)
    for _ in range(draw(st.integers(0, 6))):
        # Boot sector, first FAT entries, root folder, clusters in use.
        start, end = draw(
            st.sampled_from(
                [(11, 90), (maker.fat, maker.fat + 64), (maker.root, maker.root + 512), (11, used)]
            )
        )
        at = draw(st.integers(start, max(start, end - 1)))
        value = draw(st.binary(min_size=1, max_size=4))
        data[at : at + len(value)] = value
    return bytes(data[: draw(st.just(len(data)) | st.integers(0, used))])
