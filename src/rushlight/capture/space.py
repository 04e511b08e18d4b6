"""Where the film of each camera lies that filmed one space with others."""

from __future__ import annotations

from pathlib import Path


def film_path(folder: Path, camera: str) -> Path:
    """What holds one camera's frames: a folder of its name, or else a video file of its name.

    Parameters
    ----------
    folder
        Of the footage, where its sidecar lies.
    camera
        The camera's id.

    Returns
    -------
    Path
        As `rushlight.capture.open.open_footage` takes it; the folder's where there is neither.
    """
    own = folder / camera
    if own.is_dir():
        return own
    videos = sorted(each for each in folder.glob(f"{camera}.*") if each.suffix != ".json")
    return videos[0] if videos else own
