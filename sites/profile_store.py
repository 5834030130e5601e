"""Files of road profiles: elevations by wheel path, one Parquet file a profile.

A file is named by the digest of what is in it and is never changed. A ``RoadProfile``
row is what makes it exist; a file without a row is litter.
"""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path
from typing import TYPE_CHECKING

from wimprog.lib.errors import DomainError

if TYPE_CHECKING:
    from sites.calc.profile import Profile


def profile_key(profile: Profile) -> str:
    """Digest of everything that was read: path names, distances, elevations."""
    heading = [
        [path.value for path in profile.paths],
        repr(profile.start_m),
        repr(profile.interval_mm),
        profile.direction,
    ]
    digest = hashlib.sha256(json.dumps(heading).encode())
    for heights in profile.elevation_mm.values():
        digest.update(heights.astype("<f8").tobytes())
    return digest.hexdigest()


def profile_path(root: Path, key: str) -> Path:
    """Where the file of a profile is."""
    return root / "profiles" / f"{key}.parquet"


def profile_write(root: Path, profile: Profile, key: str) -> bool:
    """Write aside, bring to disk, move into place; False where it was there already."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    final = profile_path(root, key)
    if final.exists():
        return False
    final.parent.mkdir(parents=True, exist_ok=True)
    table = pa.table(
        {path.value: heights for path, heights in profile.elevation_mm.items()}
    )
    aside = final.with_suffix(f".{os.getpid()}-{os.urandom(4).hex()}.aside")
    try:
        pq.write_table(
            table, aside, compression="zstd", use_dictionary=False,
            use_byte_stream_split=True,
        )  # fmt: skip
        with aside.open("rb+") as file:
            os.fsync(file.fileno())
        aside.replace(final)
    finally:
        aside.unlink(missing_ok=True)
    folder = os.open(final.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
    return True


def profile_read(
    root: Path, key: str, *, start_m: float, interval_mm: float, direction: int
) -> Profile:
    """A stored profile.

    Raises
    ------
    DomainError
        When its file is gone.
    """
    import pyarrow.parquet as pq

    from sites.calc.profile import Profile
    from sites.calc.profile_words import WheelPath

    path = profile_path(root, key)
    if not path.exists():
        raise DomainError(
            f"The file of this profile ({path.name}) is not in the uploads folder any "
            "more; restore it from the backup, or send the profile in again."
        )
    table = pq.read_table(path)
    return Profile(
        start_m=start_m,
        interval_mm=interval_mm,
        elevation_mm={
            WheelPath(name): table.column(name).to_numpy()
            for name in table.column_names
        },
        direction=direction,
    )
