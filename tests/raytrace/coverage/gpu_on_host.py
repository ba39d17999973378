"""The graphics kernels' own source, compiled for the processor: a stand-in for CuPy, so that they are tried where there is no GPU.

Threads of a block are fibres that take turns: each runs to its next meeting point (a barrier or an exchange between lanes), so a
warp's lanes keep step. Slow, and no word about speed; arithmetic is the processor's, so the last digits may differ from a device's.
"""

import ctypes
import hashlib
import re
import shutil
import subprocess
import sys
import tempfile
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType, SimpleNamespace

import numpy as np

from raytrace.coverage.gpu import engine as gpu

COMPILER = shutil.which("g++") or shutil.which("c++")
KERNEL = re.compile(r'extern "C" __global__ void( __launch_bounds__\([\d, ]+\))? (\w+)\(([^)]*)\)')

PRELUDE = r"""
#include <algorithm>
#include <cmath>
#include <csetjmp>
#include <cstddef>
#include <functional>
#include <ucontext.h>
using std::max; using std::min;
#define __device__ inline
#define __global__
#define __shared__ static
#define __launch_bounds__(...)
struct int4 { int x, y, z, w; };
struct float4 { float x, y, z, w; };
static int4 make_int4(int x, int y, int z, int w) { return {x, y, z, w}; }
static float4 make_float4(float x, float y, float z, float w) { return {x, y, z, w}; }
static struct { int x; } blockIdx, threadIdx, blockDim;
static int atomicAdd(int* at, int more) { int before = *at; *at += more; return before; }
static unsigned atomicOr(unsigned* at, unsigned more) { unsigned before = *at; *at |= more; return before; }
static float rsqrtf(float x) { return 1.0f / std::sqrt(x); }

static const int MOST = 256;
struct Fibre { ucontext_t context; jmp_buf here; bool begun, done, waits; char stack[1 << 16]; };
static Fibre fibres[MOST];
static jmp_buf scheduler;
static ucontext_t first_return;
static std::function<void()> body;
static float exchange_float[MOST];
static int exchange_int[MOST];

static void turn() { if (!_setjmp(fibres[threadIdx.x].here)) _longjmp(scheduler, 1); }
static void enter() { body(); fibres[threadIdx.x].done = true; _longjmp(scheduler, 1); }
static void __syncwarp() { turn(); }
static void __syncthreads() { int me = threadIdx.x; fibres[me].waits = true; while (fibres[me].waits) turn(); }
static float shuffle(float x, int from) {
    int me = threadIdx.x;
    exchange_float[me] = x; turn();
    float other = exchange_float[(me & ~31) + (from & 31)]; turn();
    return other;
}
static float __shfl_xor_sync(unsigned, float x, int lanes) { return shuffle(x, (threadIdx.x & 31) ^ lanes); }
static float __shfl_sync(unsigned, float x, int lane) { return shuffle(x, lane); }
static int __any_sync(unsigned, int x) {
    int me = threadIdx.x, any = 0;
    exchange_int[me] = x; turn();
    for (int lane = 0; lane < 32; lane++) any |= exchange_int[(me & ~31) + lane] != 0;
    turn();
    return any;
}
static void together(int threads) {
    for (int t = 0; t < threads; t++) fibres[t].begun = fibres[t].done = fibres[t].waits = false;
    for (bool alive = true; alive;) {
        alive = false;
        bool all_wait = true;
        for (volatile int t = 0; t < threads; t = t + 1) {
            Fibre& f = fibres[t];
            if (f.done) continue;
            threadIdx.x = t;
            if (!_setjmp(scheduler)) {
                if (f.begun) _longjmp(f.here, 1);
                f.begun = true;
                getcontext(&f.context);
                f.context.uc_stack.ss_sp = f.stack; f.context.uc_stack.ss_size = sizeof f.stack; f.context.uc_link = nullptr;
                makecontext(&f.context, enter, 0);
                setcontext(&f.context);
            }
            if (!f.done) { alive = true; all_wait &= f.waits; }
        }
        if (all_wait) for (int t = 0; t < threads; t++) fibres[t].waits = false;
    }
}
static void launch(int blocks, int threads, bool meets, std::function<void()> work) {
    body = work; blockDim.x = threads;
    for (int b = 0; b < blocks; b++) {
        blockIdx.x = b;
        if (meets) together(threads);
        else for (int t = 0; t < threads; t++) { threadIdx.x = t; work(); }
    }
}
"""


def _launcher(found):
    """C++ that runs one kernel over a grid; kernels with launch bounds are those whose threads meet."""
    meets, name, parameters = found.groups()
    names = ", ".join(re.findall(r"(\w+)\s*(?:,|$)", parameters))
    work = f"[=] {{ {name}({names}); }}"
    return f'extern "C" void launch_{name}(int b, int t, {parameters}) {{ launch(b, t, {"true" if meets else "false"}, {work}); }}'


def _library(code):
    text = PRELUDE + code + "\n".join(_launcher(found) for found in KERNEL.finditer(code))
    folder = Path(tempfile.gettempdir()) / f"brimline-kernels-{hashlib.sha256(text.encode()).hexdigest()[:16]}"
    if not (folder / "kernels.so").exists():
        folder.mkdir(exist_ok=True)
        (folder / "kernels.cpp").write_text(text)
        flags = ["-O2", "-std=c++17", "-shared", "-fPIC", "-w", "-U_FORTIFY_SOURCE", "-ffp-contract=off"]
        subprocess.run([COMPILER, *flags, "kernels.cpp", "-o", "part.so"], cwd=folder, check=True)
        (folder / "part.so").rename(folder / "kernels.so")
    return ctypes.CDLL(str(folder / "kernels.so"))


class Array(np.ndarray):
    """An array that says it lies on a device."""

    def get(self):
        return np.array(self)


class RawModule:
    def __init__(self, *, code, options):  # noqa: ARG002 - as CuPy's
        self.library = _library(code)

    def get_function(self, name):
        entry = getattr(self.library, f"launch_{name}")

        def run(blocks, threads, arguments):
            plain = [ctypes.c_void_p(a.ctypes.data) if isinstance(a, np.ndarray) else ctypes.c_int(int(a)) for a in arguments]
            entry(*blocks, *threads, *plain)

        return run


def _made(make):
    return lambda *args, **kwargs: make(*args, **kwargs).view(Array)


@contextmanager
def kernels_on_host():
    """Within it, `raytrace.coverage.gpu.engine` works its kernels on the processor."""
    module = ModuleType("cupy")
    runtime = SimpleNamespace(getDeviceCount=lambda: 1, CUDARuntimeError=RuntimeError)
    module.cuda = SimpleNamespace(runtime=runtime)
    module.asarray, module.RawModule = _made(np.array), RawModule
    for name in ("zeros", "ones", "full", "empty"):
        setattr(module, name, _made(getattr(np, name)))
    before = sys.modules.get("cupy")
    sys.modules["cupy"] = module
    gpu._kernels.cache_clear()
    try:
        yield
    finally:
        gpu._kernels.cache_clear()
        del sys.modules["cupy"]
        if before is not None:
            sys.modules["cupy"] = before
