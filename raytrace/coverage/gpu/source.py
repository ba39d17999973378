"""CUDA source of the coverage engine's kernels: lists of what cuts the pupils of each tile of pixels, and what is left there.

`list_cells` and `list_tiles` follow `raytrace.coverage.kernels.classify` in double precision, a thread per tile; what they prove
holds for every pixel of a tile. `cover_tiles`, in `cover_source`, gives a tile a thread block. Straight edges that all face one
way, and convex shapes of which only the last may stop what is inside it, have closed forms and a thread per pixel; anything else
is measured along chords, a warp per pixel and a chord to a lane.
"""

from raytrace.coverage.gpu.cover_source import COVERING

MOST_ENTRIES = 16  # things that cut one tile; a tile with more is left to the processor
MOST_SIDES = 96
MOST_CONVEX = 32  # sides of a tile whose areas are worked out in closed form
MOST_CORNERS = 32  # of one convex body; one with more is tried by a few of them, and tiles where that does not settle it are left
CHORDS = 32  # one to a lane
SIDE_FLOATS = 35

# How a tile is told, in the first column of its head.
CLEAR_TILE, ONE_WAY_TILE, MIXED_TILE, DARK_TILE, LEFT_TILE, CONVEX_TILE, PARALLEL_TILE = 0, 1, 2, 3, 4, 5, 6

LEFT = -1.0  # in place of a share: a pixel that the processor must work out

# Columns of `used`: sides and entries in use, then counts of tiles and of pixels left to the processor.
USED_SIDES, USED_ENTRIES, LEFT_TILES, LEFT_PIXELS, USED_COLUMNS = 0, 1, 2, 3, 4

LISTING = r"""
#define MAXE 16
#define MAXS 96
#define MAXC 32
#define MAXA 32
#define NEAR 1e-4f
#define SIDE 35
#define PLANES 0
#define SPAN 1
#define ALL_DARK 3
#define NONE -1
#define CUT 0
#define CLEAR 1
#define DARK -1
#define UNKNOWN 2
#define LOOP 0
#define HULL 1
#define COLUMNS 5
#define POINT 1e-9
struct Frame { int rows, columns, cells_down, cells_across, size, tile, tiles_across, items, optics_columns; double reach; };
struct Spot { double u[4], v[4]; };
struct Entry { int part, sense, mode, first, last, hull_mode, hull_first, hull_last; };

__device__ void project(const double* optics, const int* node, const double* at, const double* place, Spot& out) {
    double u[4], v[4];
    int leg = 6 + 8 * (int)at[3];
    for (int c = 0; c < 4; c++) {
        const double* o = optics + node[c];
        double ax = fmax(o[leg] + o[leg + 1] * at[2], 1e-9), ay = fmax(o[leg + 4] + o[leg + 5] * at[2], 1e-9);
        double x = (at[0] - o[leg + 2] - o[leg + 3] * at[2]) / ax - o[0];
        double y = (at[1] - o[leg + 6] - o[leg + 7] * at[2]) / ay - o[1];
        u[c] = o[2] * x + o[3] * y;
        v[c] = o[4] * x + o[5] * y;
    }
    for (int c = 0; c < 4; c++) {
        double fx = place[c & 1], fy = place[2 + (c >> 1)];
        double top = u[0] + (u[1] - u[0]) * fx, bottom = u[2] + (u[3] - u[2]) * fx;
        out.u[c] = top + (bottom - top) * fy;
        top = v[0] + (v[1] - v[0]) * fx; bottom = v[2] + (v[3] - v[2]) * fx;
        out.v[c] = top + (bottom - top) * fy;
    }
}

__device__ double cross_of(const Spot& a, const Spot& b, int i, int j) { return a.u[i] * b.v[j] - a.v[i] * b.u[j]; }

// Twice the coefficient of A x B that belongs to corners i and j.
__device__ double pair_of(const Spot& a, const Spot& b, int i, int j) { return cross_of(a, b, i, j) + cross_of(a, b, j, i); }

__device__ int edge_state(const Spot& a, const Spot& b, double turn, double reach) {
    double low = 1e300, high = -1e300, length[4];
    bool point = true;
    for (int c = 0; c < 4; c++) {
        length[c] = sqrt((b.u[c] - a.u[c]) * (b.u[c] - a.u[c]) + (b.v[c] - a.v[c]) * (b.v[c] - a.v[c]));
        point = point && length[c] <= POINT * (1.0 + a.u[c] * a.u[c] + a.v[c] * a.v[c]);
    }
    if (point) return CLEAR;
    for (int i = 0; i < 4; i++) for (int j = i; j < 4; j++) {
        if (i == 1 && j == 2) continue;
        double n = 0.5 * turn * pair_of(a, b, i, j), far = 0.5 * reach * (length[i] + length[j]);
        if (i + j == 3) {
            n = 0.5 * n + 0.25 * turn * pair_of(a, b, 1, 2);
            far = 0.5 * far + 0.25 * reach * (length[1] + length[2]);
        }
        low = fmin(low, n - far); high = fmax(high, n + far);
    }
    return low >= 0.0 ? CLEAR : (high <= 0.0 ? DARK : CUT);
}

// A side A -> B, the inside to its left, by numbers that hold however far out its ends lie: the nine Bernstein coefficients of
// A x B, and B - A at four corners, all over its greatest length; v of A and of B; and what rounding lost of the first nine.
__device__ void add_side(float* sides, int& count, const Spot& a, const Spot& b) {
    if (sides && count < MAXS) {
        float* s = sides + SIDE * count;
        double most = 1e-300;
        for (int c = 0; c < 4; c++) most = fmax(most, fmax(fabs(b.u[c] - a.u[c]), fabs(b.v[c] - a.v[c])));
        double half = 0.5 / most;
        const double n[9] = {pair_of(a, b, 0, 0), pair_of(a, b, 0, 1), pair_of(a, b, 1, 1),
                             pair_of(a, b, 0, 2), 0.5 * (pair_of(a, b, 0, 3) + pair_of(a, b, 1, 2)), pair_of(a, b, 1, 3),
                             pair_of(a, b, 2, 2), pair_of(a, b, 2, 3), pair_of(a, b, 3, 3)};
        for (int k = 0; k < 9; k++) { s[k] = (float)(half * n[k]); s[25 + k] = (float)(half * n[k] - s[k]); }
        for (int c = 0; c < 4; c++) {
            s[9 + c] = (float)((b.u[c] - a.u[c]) / most); s[13 + c] = (float)((b.v[c] - a.v[c]) / most);
            s[17 + c] = (float)a.v[c]; s[21 + c] = (float)b.v[c];
        }
    }
    count++;
}

typedef unsigned char Byte;

__device__ int outline_at(const Spot* spot, int count, int c, Byte* hull) {
    Byte order[MAXC];
    int n = 0, base = 1;
    for (int k = 0; k < count; k++) {
        int j = k;
        for (; j > 0; j--) {
            const Spot& before = spot[order[j - 1]];
            if (spot[k].u[c] > before.u[c] || (spot[k].u[c] == before.u[c] && spot[k].v[c] >= before.v[c])) break;
            order[j] = order[j - 1];
        }
        order[j] = k;
    }
    for (int step = 0; step < 2 * count - 1; step++) {
        int p = order[step < count ? step : 2 * count - 2 - step];
        if (step == count) base = n;
        while (n > base) {
            const Spot &a = spot[hull[n - 2]], &b = spot[hull[n - 1]];
            if ((b.u[c] - a.u[c]) * (spot[p].v[c] - a.v[c]) - (b.v[c] - a.v[c]) * (spot[p].u[c] - a.u[c]) > 0.0) break;
            n--;
        }
        hull[n++] = p;
    }
    n = n > 1 ? n - 1 : 1;
    int lowest = 0;
    for (int k = 0; k < n; k++) if (hull[k] < hull[lowest]) lowest = k;
    for (int k = 0; k < n; k++) order[k] = hull[(lowest + k) % n];
    for (int k = 0; k < n; k++) hull[k] = order[k];
    return n;
}

// Whether the k-th side of corner c, from a to b, is in the outlines of all four corners.
__device__ bool seen_by_all(const Byte hull[4][2 * MAXC], const int* n, int c, int k, int a, int b) {
    for (int other = 0; other < 4; other++) {
        if (other == c) continue;
        const Byte* h = hull[other];
        int m = n[other];
        bool found = k < m && h[k] == a && h[(k + 1) % m] == b;
        for (int i = 0; i < m && !found; i++) found = h[i] == a && h[(i + 1) % m] == b;
        if (!found) return false;
    }
    return true;
}

// The square about everything that spots cover, seen from all pixels.
struct Square {
    double low_u, high_u, low_v, high_v;
    __device__ Square() : low_u(1e300), high_u(-1e300), low_v(1e300), high_v(-1e300) {}
    __device__ void take(const Spot& s) {
        for (int c = 0; c < 4; c++) {
            low_u = fmin(low_u, s.u[c]); high_u = fmax(high_u, s.u[c]);
            low_v = fmin(low_v, s.v[c]); high_v = fmax(high_v, s.v[c]);
        }
    }
    __device__ bool misses(double reach) const { return low_u > reach || high_u < -reach || low_v > reach || high_v < -reach; }
};

// DARK where all of a shape's points stay to one side of the discs, whatever it is; else unknown.
__device__ int classify_far(const double* point, const int* shape, const double* optics, const int* node, const double* place,
                            double reach) {
    Square all;
    Spot spot;
    for (int k = shape[1]; k < shape[2]; k++) { project(optics, node, point + 4 * k, place, spot); all.take(spot); }
    return all.misses(reach) ? DARK : UNKNOWN;
}

__device__ int classify_points(const Spot* spot, int count, double reach, float* sides, int& used, int& mode) {
    Byte hull[4][2 * MAXC];
    int n[4], start = used;
    for (int c = 0; c < 4; c++) n[c] = outline_at(spot, count, c, hull[c]);
    mode = PLANES;
    for (int c = 0; c < 4; c++) for (int k = 0; k < n[c]; k++) {
        int a = hull[c][k], b = hull[c][(k + 1) % n[c]];
        bool common = seen_by_all(hull, n, c, k, a, b);
        if (c > 0 && common) continue;
        int state = edge_state(spot[a], spot[b], 1.0, reach);
        if (state == DARK && common) { used = start; mode = PLANES; return DARK; }
        if (state != CLEAR && !common) mode = SPAN;
        else if (state == CUT) add_side(sides, used, spot[a], spot[b]);
    }
    if (mode == PLANES) return used > start ? CUT : CLEAR;
    used = start;
    unsigned taken[MAXC];
    for (int k = 0; k < count; k++) taken[k] = 0;
    for (int c = 0; c < 4; c++) for (int k = 0; k < n[c]; k++) {
        int p = hull[c][k], q = hull[c][(k + 1) % n[c]], a = min(p, q), b = max(p, q);
        if (!(taken[a] >> b & 1)) add_side(sides, used, spot[a], spot[b]);
        taken[a] |= 1u << b;
    }
    return CUT;
}

__device__ int classify_hull(const double* point, const int* trial, const int* shape, const double* optics, const int* node,
                             const double* place, double reach, float* sides, int& used, int& mode) {
    Spot spot[MAXC];
    int first = shape[1], count = shape[2] - shape[1];
    if (count > MAXC) {
        int before = used;
        first = shape[3]; count = shape[4] - shape[3];
        for (int k = 0; k < count; k++) project(optics, node, point + 4 * trial[first + k], place, spot[k]);
        int state = classify_points(spot, count, reach, nullptr, used, mode);
        used = before;
        return state == CLEAR ? CLEAR : classify_far(point, shape, optics, node, place, reach);
    }
    Square all;
    for (int k = 0; k < count; k++) { project(optics, node, point + 4 * (first + k), place, spot[k]); all.take(spot[k]); }
    return all.misses(reach) ? DARK : classify_points(spot, count, reach, sides, used, mode);
}

__device__ int classify_loop(const double* point, const int* shape, const double* optics, const int* node, const double* place,
                             double reach, float* sides, int& used) {
    int first = shape[1], count = shape[2] - shape[1], start = used, state = CLEAR;
    Spot zero, before, after;
    double area[4] = {0.0, 0.0, 0.0, 0.0};
    project(optics, node, point + 4 * first, place, zero);
    before = zero;
    for (int k = 1; k < count; k++) {
        project(optics, node, point + 4 * (first + k), place, after);
        for (int c = 0; c < 4; c++)
            area[c] += (before.u[c] - zero.u[c]) * (after.v[c] - zero.v[c]) - (before.v[c] - zero.v[c]) * (after.u[c] - zero.u[c]);
        before = after;
    }
    double least = fmin(fmin(area[0], area[1]), fmin(area[2], area[3]));
    double most = fmax(fmax(area[0], area[1]), fmax(area[2], area[3]));
    double turn = least > 1e-9 ? 1.0 : (most < -1e-9 ? -1.0 : 0.0);
    if (turn == 0.0) return UNKNOWN;
    before = zero;
    for (int k = 1; k < count; k++) {
        project(optics, node, point + 4 * (first + k), place, after);
        state = edge_state(before, after, turn, reach);
        if (state == DARK) { used = start; return DARK; }
        if (state == CUT) { if (turn > 0.0) add_side(sides, used, before, after); else add_side(sides, used, after, before); }
        before = after;
    }
    state = edge_state(before, zero, turn, reach);
    if (state == DARK) { used = start; return DARK; }
    if (state == CUT) { if (turn > 0.0) add_side(sides, used, before, zero); else add_side(sides, used, zero, before); }
    return used > start ? CUT : CLEAR;
}

__device__ int classify(const double* point, const int* trial, const int* shape, const double* optics, const int* node,
                        const double* place, double reach, float* sides, int& used, int& mode) {
    if (shape[0] == HULL) return classify_hull(point, trial, shape, optics, node, place, reach, sides, used, mode);
    if (shape[0] == LOOP) return classify_loop(point, shape, optics, node, place, reach, sides, used);
    return classify_far(point, shape, optics, node, place, reach);
}

// Whether everything that cuts is half planes, open to one side, with parallel edges: then the nearest edge tells all.
__device__ bool one_way(const Entry* entry, int entries, const float* sides, int used) {
    float u0 = 0.0f, v0 = 0.0f;
    for (int k = 0; k < entries; k++) {
        const Entry& e = entry[k];
        if (e.mode == ALL_DARK) continue;
        if (e.mode != PLANES || e.hull_mode != NONE || (e.sense == 1 && e.last - e.first != 1)) return false;
        float flip = e.sense == 0 ? 1.0f : -1.0f;
        for (int s = e.first; s < e.last; s++) for (int c = 0; c < 4; c++) {
            float u = sides[SIDE * s + 9 + c], v = sides[SIDE * s + 13 + c], length = sqrtf(u * u + v * v);
            if (length < 1e-6f) return false;
            float scale = flip / length;
            u *= scale; v *= scale;
            if (u0 == 0.0f && v0 == 0.0f) { u0 = u; v0 = v; }
            if (fabsf(u * v0 - v * u0) > 2e-5f || u * u0 + v * v0 < 0.0f) return false;
        }
    }
    return true;
}

// Whether all sides run one way or the opposite one: then everything happens along their common normal.
__device__ bool all_parallel(const Entry* entry, int entries, const float* sides, int used) {
    for (int k = 0; k < entries; k++) {
        const Entry& e = entry[k];
        if (e.mode != ALL_DARK && (e.mode != PLANES || (e.hull_mode != NONE && e.hull_mode != PLANES))) return false;
    }
    for (int s = 0; s < used; s++) {
        float way = 0.0f;
        for (int c = 0; c < 4; c++) {
            const float* p = sides + SIDE * s;
            float u = p[9 + c], v = p[13 + c], u0 = sides[9 + c], v0 = sides[13 + c];
            float length = sqrtf(u * u + v * v), length0 = sqrtf(u0 * u0 + v0 * v0), along = u * u0 + v * v0;
            if (length < 1e-6f || length0 < 1e-6f || along * way < 0.0f) return false;
            if (fabsf(u * v0 - v * u0) > 2e-5f * length * length0) return false;
            way = along;
        }
    }
    return true;
}

// Whether every entry is told by ordered sides, and all but the last let by what is inside them or are half planes.
__device__ bool all_convex(const Entry* entry, int entries, int used) {
    if (used > MAXA) return false;
    for (int k = 0; k < entries; k++) {
        const Entry& e = entry[k];
        if (e.mode == ALL_DARK) continue;
        if (e.mode != PLANES || (e.hull_mode != NONE && e.hull_mode != PLANES)) return false;
        bool plain = e.hull_mode == NONE && (e.sense == 0 || e.last - e.first == 1);
        if (k + 1 < entries && !plain) return false;
    }
    return true;
}

// Which items can stop rays of each cell, a thread per cell and item: bits of `wanted` (cells, words).
extern "C" __global__ void list_cells(const Frame* frame, const double* point, const int* trial, const int* shape, const int* item,
        const double* optics, unsigned* wanted, int words) {
    const Frame f = *frame;
    int n = blockIdx.x * blockDim.x + threadIdx.x, cells = f.cells_down * f.cells_across, cell = n % cells, k = n / cells;
    if (k >= f.items) return;
    int i = cell / f.cells_across, j = cell % f.cells_across, node[4], used = 0, mode = 0;
    for (int c = 0; c < 4; c++) node[c] = ((i + c / 2) * (f.cells_across + 1) + j + c % 2) * f.optics_columns;
    const double place[4] = {0.0, 1.0, 0.0, 1.0};
    const int* it = item + 4 * k;
    int state = classify(point, trial, shape + COLUMNS * it[0], optics, node, place, f.reach, nullptr, used, mode);
    if (state == (it[1] == 0 ? CLEAR : DARK)) return;
    const int* hull = shape + COLUMNS * it[2];
    if (it[2] != NONE && classify_hull(point, trial, hull, optics, node, place, f.reach, nullptr, used, mode) == DARK) return;
    atomicOr(wanted + cell * words + k / 32, 1u << (k % 32));
}

extern "C" __global__ void list_tiles(const Frame* frame, int tiles, const double* point, const int* trial, const int* shape,
        const int* item, const double* optics, const int* row, const int* column, const unsigned char* usable,
        const unsigned* wanted, int words, int4* head, float* side_pool, int* entry_pool,
        int side_room, int entry_room, int* totals) {
    const Frame f = *frame;
    int tile = blockIdx.x * blockDim.x + threadIdx.x;
    if (tile >= tiles) return;
    int r0 = tile / f.tiles_across * f.tile, c0 = tile % f.tiles_across * f.tile;
    int r1 = min(r0 + f.tile, f.rows) - 1, c1 = min(c0 + f.tile, f.columns) - 1;
    int i = min(r0 / f.size, f.cells_down - 1), j = min(c0 / f.size, f.cells_across - 1), across = f.cells_across + 1;
    head[tile] = make_int4(0, 0, 0, 0);
    if (!usable[i * f.cells_across + j]) return;
    int node[4];
    for (int c = 0; c < 4; c++) node[c] = ((i + c / 2) * across + j + c % 2) * f.optics_columns;
    double wide = 1.0 / max(column[j + 1] - column[j], 1), tall = 1.0 / max(row[i + 1] - row[i], 1);
    double place[4] = {(c0 - column[j]) * wide, (c1 - column[j]) * wide, (r0 - row[i]) * tall, (r1 - row[i]) * tall};
    float sides[SIDE * MAXS];
    Entry entry[MAXE];
    int used = 0, entries = 0;
    bool full = false;
    for (int k = 0; k < f.items && !full; k++) {
        if (!(wanted[(i * f.cells_across + j) * words + k / 32] >> (k % 32) & 1)) continue;
        const int* it = item + 4 * k;
        Entry e = {it[3], it[1], PLANES, used, used, NONE, 0, 0};
        int state = classify(point, trial, shape + COLUMNS * it[0], optics, node, place, f.reach, sides, used, e.mode);
        if (state == (e.sense == 0 ? CLEAR : DARK)) continue;
        e.last = used;
        int hull_state = CLEAR;
        if (it[2] != NONE) {
            int mode = PLANES;
            e.hull_first = used;
            hull_state = classify_hull(point, trial, shape + COLUMNS * it[2], optics, node, place, f.reach, sides, used, mode);
            e.hull_last = used;
            if (hull_state == CUT) e.hull_mode = mode;
            if (hull_state == DARK) { used = e.first; continue; }
        }
        full = used > MAXS || entries == MAXE || state == UNKNOWN || hull_state == UNKNOWN;
        if (full) continue;
        if (state != CUT) {
            if (hull_state == CLEAR) { e.mode = ALL_DARK; entry[entries++] = e; break; }
            e.sense = 1; e.mode = e.hull_mode; e.first = e.hull_first; e.last = e.hull_last; e.hull_mode = NONE;
        }
        entry[entries++] = e;
    }
    if (full) { head[tile] = make_int4(4, 0, 0, 0); atomicAdd(totals + 2, 1); return; }
    if (entries == 0) return;
    if (entries == 1 && entry[0].mode == ALL_DARK) { head[tile] = make_int4(3, entry[0].part, 0, 0); return; }
    int kind = one_way(entry, entries, sides, used) ? 1
             : all_parallel(entry, entries, sides, used) ? 6 : all_convex(entry, entries, used) ? 5 : 2;
    int first = atomicAdd(totals, used), from = atomicAdd(totals + 1, entries);
    if (first + used > side_room || from + entries > entry_room) {
        head[tile] = make_int4(4, 0, 0, 0);
        atomicAdd(totals + 2, 1);
        return;
    }
    for (int k = 0; k < SIDE * used; k++) side_pool[SIDE * (size_t)first + k] = sides[k];
    for (int k = 0; k < entries; k++) {
        const int* words = (const int*)(entry + k);
        for (int w = 0; w < 8; w++) entry_pool[8 * (from + k) + w] = words[w];
    }
    head[tile] = make_int4(kind, first, from, used | entries << 16);
}
"""

SOURCE = LISTING + COVERING
