"""What the writer could not take: how many samples, and from when to when."""

from daemon.record.entries import Sample


class Gap:
    """Samples of one run, or the first run's of several, that found no room."""

    def __init__(self, first: Sample) -> None:
        self.run_id = first.run_id
        self._first_s = self._last_s = first.elapsed_s
        self._samples = 0

    def add(self, sample: Sample) -> None:
        """Count one more."""
        self._samples += 1
        self._last_s = sample.elapsed_s

    def text(self) -> str:
        """What is missing, in words."""
        return (
            f"{self._samples} samples from {self._first_s:.2f} s to {self._last_s:.2f} s "
            "are not in the record: the disk did not keep up"
        )

    def data(self) -> dict[str, float | int]:
        """What is missing, in figures: how many, and from when to when in s of the run."""
        return {"samples": self._samples, "from_s": self._first_s, "to_s": self._last_s}
