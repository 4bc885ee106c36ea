"""No output goes on before the guard's own way to switch it off was tried."""

from collections.abc import Callable

from daemon.control.states import Act
from daemon.service.cycle.runner import Order

SWITCHES_ON = (Act.START, Act.RESUME)


def proven_first(
    try_it: Callable[[], str | None], submit: Callable[[Order], None]
) -> Callable[[Order], None]:
    """What hands an order on to `submit` once the way was tried, if the order is one that needs it.

    `try_it` gives None if the way works, otherwise why not; the loop, which knows of better reasons
    to refuse the order, then has it in the order. It waits in the asker's thread.
    """

    def hand_in(order: Order) -> None:
        if order.act in SWITCHES_ON:
            why_not = try_it()
            if why_not is not None:
                order.unproven = f"the guard cannot switch the output off by its own way: {why_not}"
        submit(order)

    return hand_in
