#!/usr/bin/env bash
# Installs the Debian packages that some tests drive, only those missing and only as root.
set -euo pipefail
missing=()
need() { command -v "$1" >/dev/null 2>&1 || missing+=("$2"); }
need pdftoppm poppler-utils
need ffmpeg ffmpeg
need chromium chromium
need firefox-esr firefox-esr
need pulseaudio pulseaudio
need paplay pulseaudio-utils
need nginx nginx-light
compgen -G '/usr/lib/*/alsa-lib/libasound_module_pcm_pulse.so' >/dev/null || missing+=(libasound2-plugins)
ldconfig -p 2>/dev/null | grep -q libportaudio.so || missing+=(libportaudio2)
ldconfig -p 2>/dev/null | grep -q libfluidsynth.so || missing+=(libfluidsynth3)
[ -e /usr/share/sounds/sf2/TimGM6mb.sf2 ] || missing+=(timgm6mb-soundfont)
compgen -G '/usr/lib/postgresql/*/bin/initdb' >/dev/null || command -v initdb >/dev/null || missing+=(postgresql)
[ ${#missing[@]} -eq 0 ] && exit 0
if [ "$(id -u)" -eq 0 ] && command -v apt-get >/dev/null 2>&1; then
  export DEBIAN_FRONTEND=noninteractive
  apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null 2>&1 ||
    { apt-get update -qq && apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null; }
else
  echo "not root: the tests that need ${missing[*]} will say so and be skipped" >&2
fi
