"""Every way the record can fail, as one tree."""


class RecordError(Exception):
    """Root of everything that the record raises."""


class RecordOpenError(RecordError):
    """The record cannot be opened: nothing was written."""


class RecordMissingError(RecordOpenError):
    """There is no record at this path."""


class NotARecordError(RecordOpenError):
    """The file is something else than a record, or is damaged beyond opening."""


class RecordNewerError(RecordOpenError):
    """A newer program wrote this record; this one does not know its tables."""


class RecordOlderError(RecordOpenError):
    """The record waits for the daemon to bring its tables up to date."""


class RecordBusyError(RecordOpenError):
    """Another process writes this record."""


class RecordUnwritableError(RecordOpenError):
    """The disk refuses: no right, read-only, full, or broken."""


class RecordThereError(RecordError):
    """A backup would take a record's place, which nobody has asked for."""


class RecordBackupError(RecordError):
    """No backup was made, or none was put back: nothing was changed."""


class RecordIncompleteError(RecordError):
    """The writer had to close before everything it was given was on the disk."""


class NoSuchRunError(RecordError):
    """No run has this number."""


class PostedBeforeError(RecordError):
    """The same log of another logger is in an account already."""


class CodecError(RecordError):
    """Samples and blob do not go together."""


class UnencodableSampleError(CodecError):
    """A value is no finite number, or too great to be stored."""


class CorruptBlockError(CodecError):
    """A blob does not hold what its header and check sum say."""


class NoSuchCalibrationError(RecordError):
    """No calibration has this number."""


class NoSuchAlarmError(RecordError):
    """No alarm has this number."""


class NotSettledError(RecordError):
    """A word on an interruption that cannot be taken: no such interruption, or out of bounds."""


class NoSuchPartError(RecordError):
    """No part of this name, or of this number, is kept."""


class NoSuchBathEntryError(RecordError):
    """No entry of this bath has this number."""


class NotForetoldError(RecordError):
    """A run that was not foretold, or not in words that are known here."""
