"""Errors in what people hand in."""


class InputError(Exception):
    """Something that a person wrote cannot be used.

    `where` names the file or form; each of `problems` says which key, what came and what is
    allowed. As text: one line for each problem, each beginning with `where`.
    """

    def __init__(self, where: str, problems: tuple[str, ...]) -> None:
        self.where = where
        self.problems = problems
        super().__init__("\n".join(f"{where}: {problem}" for problem in problems))

    def __reduce__(self) -> tuple[type, tuple[str, tuple[str, ...]]]:
        """It may come from another process."""
        return type(self), (self.where, self.problems)
