"""Figures inside sentences."""


def ohms(value: float) -> str:
    """An impedance in words of three digits."""
    if value >= 1e6:
        return f"{value / 1e6:.3g} Mohm"
    return f"{value / 1e3:.3g} kohm" if value >= 1e3 else f"{value:.3g} ohm"
