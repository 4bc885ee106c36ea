"""Every way a device can fail, as one tree: the loop decides by type."""


class DriverError(Exception):
    """Root of everything that a driver raises."""


class DescriptionError(DriverError):
    """The file that describes a device cannot be used; names file, key, value, what is allowed."""


class LinkError(DriverError):
    """The line failed: nothing can be said about the device's state."""


class PortUnavailableError(LinkError):
    """The port is missing, busy, or was pulled out."""


class NoReplyError(LinkError):
    """Nothing, or only a part of a reply, came within the timeout."""


class GarbledReplyError(LinkError):
    """A reply came that is no answer to what was asked."""


class DeviceError(DriverError):
    """The device answered, and said no."""


class WrongDeviceError(DeviceError):
    """Another device than the described one answers on this port."""


class CommandRefusedError(DeviceError):
    """The device put an error in its queue after a command."""


class SetPointRefusedError(DeviceError):
    """A set-point reads back as something else than what was set: refused or clipped."""


class PinError(DriverError):
    """A pin cannot be used: no library, no such pin, another owner, or the kernel refuses."""
