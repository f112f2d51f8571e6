"""The bar of water today: what came, what the sun should have given, what would be normal.

Flow: views/glance.py -> HERE.
"""

WIDTH, HEIGHT = 320.0, 40.0
ROOM = 1.06
"""The scale ends a little beyond the largest figure, so that its edge is seen."""


def water_bar(water_m3: float, expected_m3: float, low_m3: float, high_m3: float, label: str) -> str:
    """An SVG: filled = came, hatched box = normal, line = expected. `label` must be safe text for an attribute."""
    whole = max(water_m3, high_m3, expected_m3, 1e-9) * ROOM

    def x(amount: float) -> str:
        return f"{WIDTH * max(0.0, amount) / whole:.1f}"

    band = f"{WIDTH * max(0.0, high_m3 - max(0.0, low_m3)) / whole:.1f}"
    return (
        f'<svg class="bar" viewBox="0 0 {WIDTH:.0f} {HEIGHT:.0f}" role="img" aria-label="{label}">'
        '<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<path class="hatch" d="M0 0v6"/></pattern></defs>'
        f'<rect class="trough" x="0" y="8" width="{WIDTH:.0f}" height="24" rx="5"/>'
        f'<rect class="water" x="0" y="8" width="{x(water_m3)}" height="24" rx="5"/>'
        f'<rect class="band" x="{x(low_m3)}" y="3" width="{band}" height="34" rx="3"/>'
        f'<rect fill="url(#hatch)" x="{x(low_m3)}" y="3" width="{band}" height="34" rx="3"/>'
        f'<path class="expected" d="M{x(expected_m3)} 1v38"/>'
        "</svg>"
    )
