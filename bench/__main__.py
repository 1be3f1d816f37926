"""Runs the studies: all of them, or those named, as ``python -m bench white_noise plan``."""

import importlib
import pkgutil
import sys
import time

import bench


def main() -> int:
    known = sorted(
        m.name for m in pkgutil.iter_modules(bench.__path__) if not m.name.startswith("_")
    )
    wanted = sys.argv[1:] or known
    unknown = [name for name in wanted if name not in known]
    if unknown:
        print(f"no study {', '.join(unknown)}; there are: {', '.join(known)}", file=sys.stderr)
        return 2
    for name in wanted:
        module = importlib.import_module(f"bench.{name}")
        print(f"\n== {name}: {(module.__doc__ or '').strip().splitlines()[0]}", flush=True)
        begun_s = time.perf_counter()
        module.main()
        print(f"-- {name} took {time.perf_counter() - begun_s:.0f} s", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
