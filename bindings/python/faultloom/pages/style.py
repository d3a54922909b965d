"""Colors and strokes of a drawing, for a page of its own and inside others.

The scale of suspicion runs through one hue from light to dark, after the five-class YlOrBr of
ColorBrewer (colorbrewer2.org, listed there as safe for the color-blind; values from memory), and is
never alone: the number stands beside it, and lines get wider. On dark ground it runs the other way.
"""

_LIGHT = {
    "paper": "#ffffff",
    "ink": "#1c2024",
    "soft": "#566068",
    "area": "#f1f4f2",
    "area-edge": "#c3cdc8",
    "tile": "#ffffff",
    "loom": "#dfe7ea",
    "wire": "#3c474f",
    "red": "#a3123a",
    "s1": "#ffffd4",
    "s2": "#fed98e",
    "s3": "#fe9929",
    "s4": "#cc4c02",
    "s5": "#8c2d04",
    "on12": "#1c2024",
    "on45": "#ffffff",
}
_DARK = {
    "paper": "#14181b",
    "ink": "#e9edef",
    "soft": "#a3afb7",
    "area": "#1b2124",
    "area-edge": "#3c474c",
    "tile": "#101416",
    "loom": "#2b353a",
    "wire": "#b4c0c7",
    "red": "#ff9db4",
    "s1": "#5c2606",
    "s2": "#8c2d04",
    "s3": "#cc5a08",
    "s4": "#fda93f",
    "s5": "#ffe9a8",
    "on12": "#ffffff",
    "on45": "#14181b",
}

RULES = """
.hd{font-family:"DejaVu Sans",Verdana,Arial,sans-serif;background:var(--hd-paper)}
.hd text{fill:var(--hd-ink);font-size:8.5px;unicode-bidi:isolate}
.hd .sheet{fill:var(--hd-paper)}
.hd .title{font-size:14px;font-weight:bold}
.hd .name{font-size:11px;font-weight:bold}
.hd .strong{font-weight:bold}
.hd .soft{fill:var(--hd-soft)}
.hd .probe{fill:var(--hd-red)}
.hd .area{fill:var(--hd-area);stroke:var(--hd-area-edge)}
.hd .tile{fill:var(--hd-tile);stroke:var(--hd-ink);stroke-width:1}
.hd .cell,.hd .lead,.hd .sym,.hd .box{fill:none;stroke:var(--hd-ink);stroke-width:1}
.hd .cell{stroke:var(--hd-area-edge)}
.hd .lead{stroke:var(--hd-soft)}
.hd .sym{stroke-width:1.3;stroke-linejoin:round}
.hd .dot{fill:var(--hd-ink)}
.hd .loom{fill:var(--hd-loom)}
.hd .wire{fill:none;stroke:var(--hd-wire);stroke-width:1}
.hd .thick{stroke-width:2}
.hd .case{fill:none;stroke:var(--hd-ink);stroke-linejoin:round}
.hd .hot{fill:none;stroke-linejoin:round}
.hd .edge{stroke:var(--hd-ink);stroke-width:.8}
.hd .on12{fill:var(--hd-on12)}
.hd .on45{fill:var(--hd-on45)}
"""
_SCALE = "".join(
    f".hd .f{n}{{fill:var(--hd-s{n})}}.hd .h{n}{{stroke:var(--hd-s{n})}}\n" for n in range(1, 6)
)


def _variables(colors: dict[str, str]) -> str:
    return "".join(f"--hd-{name}:{color};" for name, color in colors.items())


STYLE = (
    f".hd{{{_variables(_LIGHT)}}}\n"
    f"@media screen and (prefers-color-scheme:dark){{.hd{{{_variables(_DARK)}}}}}{RULES}{_SCALE}"
)
