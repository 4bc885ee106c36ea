"""A record that is nothing but a list: for nights in which the process does not die."""


class MemoryRecord:
    """What the loop sees of `daemon.record.writer.Writer`, on `disk`."""

    def __init__(self, real_s, disk):
        self._real_s = real_s
        self._disk = disk
        self._queue = []
        self.kept = []
        self.fault = None
        self._caught_up_s = real_s()

    @property
    def lag_s(self):
        return self._real_s() - self._caught_up_s if self._queue else 0.0

    def put(self, entry):
        self._queue.append(entry)

    def flush(self):
        if self._disk.state != "well":
            self.fault = f"the disk is {self._disk.state}"
            return False
        self.fault = None
        self.kept += self._queue
        self._queue = []
        self._caught_up_s = self._real_s()
        return True

    def close(self):
        self.flush()
