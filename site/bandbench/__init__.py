"""The outside of the simulator: command line, site build, development server and the browser-side bench."""
