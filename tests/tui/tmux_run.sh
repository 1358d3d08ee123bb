#!/bin/sh
# One run of the screens in tmux, by its keys: tests/tui/tmux_run.sh [STEER]
# STEER is the command (default: steer). Needs tmux; ends with 1 and the screen when something is missing.
set -eu
steer=${1:-steer}
work=$(mktemp -d)
session="steer-$$"
tmux="tmux -L $session"
trap '$tmux kill-server 2>/dev/null || true; rm -rf "$work"' EXIT

"$steer" demo "$work/drive" --no-open >/dev/null
$tmux new-session -d -x 80 -y 24 "$steer open '$work/drive'; echo ended with \$?; sleep 60"

shows() {
    tries=0
    until $tmux capture-pane -p | grep -q -e "$1"; do
        tries=$((tries + 1))
        if [ "$tries" -gt 100 ]; then
            echo "tmux: the screen does not show: $1" >&2
            $tmux capture-pane -p >&2
            exit 1
        fi
        sleep 0.2
    done
}

shows 'STROKE 112'
shows 'CYLINDERS mm'
shows 'It advises'
$tmux send-keys a
shows 'STROKE 112  accepted'
$tmux send-keys u
shows 'STROKE 112  proposed'
$tmux send-keys 2
shows 'CHECK SHOTS  3 taken'
$tmux send-keys 3
shows 'AS-BUILT against tolerance'
$tmux send-keys l
shows 'LOG  all but readings'
$tmux send-keys '?'
shows 'KEYS of this screen'
$tmux send-keys Escape
shows 'LOG  all but readings'
$tmux send-keys 1
shows 'STROKE 112'
$tmux resize-window -x 120 -y 40
shows 'readings used'
$tmux send-keys q
shows 'ended with 0'
echo "tmux: every screen came, and it ended with 0"
