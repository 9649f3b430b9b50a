"""The outside of the simulator: command line, site build, development server and the browser-side bench."""

import os

if os.environ.get("BANDBENCH_LANGUAGE", "en") != "en":
    # Names in declarations are said as their modules are imported: the language comes before all of them.
    from bandbench.bench.languages import speak

    speak()
