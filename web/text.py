"""What the page says when it cannot do what was asked: for each HTTP status, what and what now."""

from dataclasses import dataclass

from web.language import marked


@dataclass(frozen=True, slots=True)
class Trouble:
    """One page about one thing that went wrong: a heading, and what the reader can do about it."""

    what: str
    then: str


FORM_TOO_OLD = Trouble(
    marked("This form is from before the page was restarted."),
    marked("Nothing was done. Press again here, or go back to the tank."),
)
FOREIGN_FORM = Trouble(
    marked("This form was sent from another site."),
    marked("Nothing was done. Acts on the tank are taken from its own page only."),
)
SIGN_IN_FIRST = Trouble(
    marked("That is for operators."),
    marked("Nothing was done. Sign in and press again. Stop works without signing in."),
)
NOT_READABLE = Trouble(marked("This is for operators to look at."), marked("Sign in first."))
UNSURE = Trouble(
    marked("The daemon gave no answer."),
    marked(
        "Whether it did what you asked is not known. Look at the tank, and switch the supply off "
        "there if in doubt."
    ),
)
NO_SUCH_ALARM = Trouble(
    marked("The record has no such alarm."),
    marked("One that was raised just now comes into it within a second or two: look again."),
)
NO_EFFECTS = Trouble(
    marked("The daemon does not answer."),
    marked(
        "By which table it runs is not known. The command tankhand effects shows that of the "
        "settings."
    ),
)
NO_SETTINGS = Trouble(
    marked("The daemon does not answer."),
    marked(
        "By which settings it runs is not known. The command tankhand settings shows what the "
        "file says."
    ),
)
BY_STATUS = {
    400: Trouble(
        marked("The page cannot read that."), marked("Nothing was done. Go back to the tank.")
    ),
    404: Trouble(marked("There is no such page."), marked("The tank is on the first page.")),
    405: Trouble(
        marked("Looking at an address changes nothing here."),
        marked("Acts on the tank are done with the buttons on its page."),
    ),
    413: Trouble(
        marked("That was too much to read."), marked("Nothing was done. Go back to the tank.")
    ),
    429: Trouble(
        marked("Too many presses in a minute."),
        marked("This one was not passed on. Stop and abort always are."),
    ),
    500: Trouble(
        marked("The page has failed; the daemon has not noticed."),
        marked("A run goes on by itself. Go back to the tank and look."),
    ),
}
WRONG_HOST = marked("This page answers to the address it listens on, and to no other name.")
