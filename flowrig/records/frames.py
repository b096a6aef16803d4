"""Results as pandas frames."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd


def frame(lines: list[dict[str, Any]]) -> pd.DataFrame:
    """A frame of one line a dictionary."""
    import pandas as pd

    return pd.DataFrame(lines)
