"""What the page says when it cannot do what was asked: for each HTTP status, what and what now."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Trouble:
    """One page about one thing that went wrong: a heading, and what the reader can do about it."""

    what: str
    then: str


FORM_TOO_OLD = Trouble(
    "This form is from before the page was restarted.",
    "Nothing was done. Press again here, or go back to the tank.",
)
FOREIGN_FORM = Trouble(
    "This form was sent from another site.",
    "Nothing was done. Acts on the tank are taken from its own page only.",
)
SIGN_IN_FIRST = Trouble(
    "That is for operators.",
    "Nothing was done. Sign in and press again. Stop works without signing in.",
)
NOT_READABLE = Trouble("This is for operators to look at.", "Sign in first.")
UNSURE = Trouble(
    "The daemon gave no answer.",
    "Whether it did what you asked is not known. Look at the tank, and switch the supply off "
    "there if in doubt.",
)
NO_SUCH_ALARM = Trouble(
    "The record has no such alarm.",
    "One that was raised just now comes into it within a second or two: look again.",
)
NO_EFFECTS = Trouble(
    "The daemon does not answer.",
    "By which table it runs is not known. The command tankhand effects shows that of the settings.",
)
BY_STATUS = {
    400: Trouble("The page cannot read that.", "Nothing was done. Go back to the tank."),
    404: Trouble("There is no such page.", "The tank is on the first page."),
    405: Trouble(
        "Looking at an address changes nothing here.",
        "Acts on the tank are done with the buttons on its page.",
    ),
    413: Trouble("That was too much to read.", "Nothing was done. Go back to the tank."),
    429: Trouble(
        "Too many presses in a minute.",
        "This one was not passed on. Stop and abort always are.",
    ),
    500: Trouble(
        "The page has failed; the daemon has not noticed.",
        "A run goes on by itself. Go back to the tank and look.",
    ),
}
WRONG_HOST = "This page answers to the address it listens on, and to no other name."
