"""CUDA source of the coverage engine's kernels: lists of what cuts the pupils of each tile of pixels, and what is left there.

`list_cells` and `list_tiles` follow `raytrace.coverage.classify` in double precision, a thread per tile; what they prove holds for
every pixel of a tile. `cover_tiles` gives a tile a thread block: straight edges that all face one way have a closed form and a
thread per pixel; anything else is measured along chords, a warp per pixel and a chord to a lane.
"""

MOST_ENTRIES = 16  # things that cut one tile; more send the whole picture to the processor
MOST_SIDES = 160
MOST_CORNERS = 24  # of one convex body
CHORDS = 32  # one to a lane

# How a tile is told, in the first column of its head.
CLEAR_TILE, ONE_WAY_TILE, MIXED_TILE, DARK_TILE = 0, 1, 2, 3

# Columns of `used`: sides and entries in use, then counts of tiles that do not fit.
USED_SIDES, USED_ENTRIES, EDGE_ON, TOO_MANY, USED_COLUMNS = 0, 1, 2, 3, 4

SOURCE = r"""
#define MAXE 16
#define MAXS 160
#define MAXC 24
#define PLANES 0
#define SPAN 1
#define ALL_DARK 3
#define NONE -1
#define CUT 0
#define CLEAR 1
#define DARK -1
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

__device__ int edge_state(const Spot& a, const Spot& b, double turn, double reach) {
    double low = 1e300, high = -1e300, length[4];
    for (int c = 0; c < 4; c++) length[c] = sqrt((b.u[c] - a.u[c]) * (b.u[c] - a.u[c]) + (b.v[c] - a.v[c]) * (b.v[c] - a.v[c]));
    for (int i = 0; i < 4; i++) for (int j = i; j < 4; j++) {
        if (i == 1 && j == 2) continue;
        double n = 0.5 * turn * (cross_of(a, b, i, j) + cross_of(a, b, j, i)), far = 0.5 * reach * (length[i] + length[j]);
        if (i + j == 3) {
            n = 0.5 * n + 0.25 * turn * (cross_of(a, b, 1, 2) + cross_of(a, b, 2, 1));
            far = 0.5 * far + 0.25 * reach * (length[1] + length[2]);
        }
        low = fmin(low, n - far); high = fmax(high, n + far);
    }
    return low >= 0.0 ? CLEAR : (high <= 0.0 ? DARK : CUT);
}

// Sides keep their ends with the inside to the left: u and v of A at four corners, then of B.
__device__ void add_side(float* sides, int& count, const Spot& a, const Spot& b) {
    if (sides && count < MAXS) for (int c = 0; c < 4; c++) {
        float* s = sides + 16 * count;
        s[c] = (float)a.u[c]; s[4 + c] = (float)a.v[c]; s[8 + c] = (float)b.u[c]; s[12 + c] = (float)b.v[c];
    }
    count++;
}

__device__ int outline_at(const Spot* spot, int count, int c, int* hull) {
    int order[MAXC], n = 0, base = 1;
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

__device__ int classify_hull(const double* point, const int* shape, const double* optics, const int* node, const double* place,
                             double reach, float* sides, int& used, int& mode) {
    Spot spot[MAXC];
    int hull[2 * MAXC], other[2 * MAXC], first = shape[1], count = shape[2] - shape[1], start = used;
    double low_u = 1e300, high_u = -1e300, low_v = 1e300, high_v = -1e300;
    for (int k = 0; k < count; k++) {
        project(optics, node, point + 4 * (first + k), place, spot[k]);
        for (int c = 0; c < 4; c++) {
            low_u = fmin(low_u, spot[k].u[c]); high_u = fmax(high_u, spot[k].u[c]);
            low_v = fmin(low_v, spot[k].v[c]); high_v = fmax(high_v, spot[k].v[c]);
        }
    }
    if (low_u > reach || high_u < -reach || low_v > reach || high_v < -reach) return DARK;
    int n = outline_at(spot, count, 0, hull);
    bool same = n >= 3;
    for (int c = 1; c < 4 && same; c++) {
        same = outline_at(spot, count, c, other) == n;
        for (int k = 0; k < n && same; k++) same = hull[k] == other[k];
    }
    if (same) {
        mode = PLANES;
        for (int k = 0; k < n; k++) {
            const Spot &a = spot[hull[k]], &b = spot[hull[(k + 1) % n]];
            int state = edge_state(a, b, 1.0, reach);
            if (state == DARK) { used = start; return DARK; }
            if (state == CUT) add_side(sides, used, a, b);
        }
        return used > start ? CUT : CLEAR;
    }
    mode = SPAN;
    unsigned taken[MAXC];
    for (int k = 0; k < count; k++) taken[k] = 0;
    for (int c = 0; c < 4; c++) {
        n = outline_at(spot, count, c, other);
        for (int k = 0; k < n; k++) {
            int a = min(other[k], other[(k + 1) % n]), b = max(other[k], other[(k + 1) % n]);
            if (!(taken[a] >> b & 1)) add_side(sides, used, spot[a], spot[b]);
            taken[a] |= 1u << b;
        }
    }
    return CUT;
}

__device__ int classify_loop(const double* point, const int* shape, const double* optics, const int* node, const double* place,
                             double reach, float* sides, int& used, int* totals) {
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
    if (turn == 0.0) { atomicAdd(totals + 2, 1); return CUT; }
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

// Whether everything that cuts is half planes, open to one side, with parallel edges: then the nearest edge tells all.
__device__ bool one_way(const Entry* entry, int entries, const float* sides, int used) {
    float u0 = 0.0f, v0 = 0.0f;
    for (int k = 0; k < entries; k++) {
        const Entry& e = entry[k];
        if (e.mode == ALL_DARK) continue;
        if (e.mode != PLANES || e.hull_mode != NONE || (e.sense == 1 && e.last - e.first != 1)) return false;
        float flip = e.sense == 0 ? 1.0f : -1.0f;
        for (int s = e.first; s < e.last; s++) for (int c = 0; c < 4; c++) {
            float u = sides[16 * s + 8 + c] - sides[16 * s + c], v = sides[16 * s + 12 + c] - sides[16 * s + 4 + c];
            float scale = flip / fmaxf(sqrtf(u * u + v * v), 1e-30f);
            u *= scale; v *= scale;
            if (u0 == 0.0f && v0 == 0.0f) { u0 = u; v0 = v; }
            if (fabsf(u * v0 - v * u0) > 2e-5f || u * u0 + v * v0 < 0.0f) return false;
        }
    }
    return true;
}

// Which items can stop rays of each cell, a thread per cell and item: bits of `wanted` (cells, words).
extern "C" __global__ void list_cells(const Frame* frame, const double* point, const int* shape, const int* item,
        const double* optics, unsigned* wanted, int words, int* totals) {
    const Frame f = *frame;
    int n = blockIdx.x * blockDim.x + threadIdx.x, cells = f.cells_down * f.cells_across, cell = n % cells, k = n / cells;
    if (k >= f.items) return;
    int i = cell / f.cells_across, j = cell % f.cells_across, node[4], used = 0, mode = 0;
    for (int c = 0; c < 4; c++) node[c] = ((i + c / 2) * (f.cells_across + 1) + j + c % 2) * f.optics_columns;
    const double place[4] = {0.0, 1.0, 0.0, 1.0};
    const int *it = item + 4 * k, *sh = shape + 3 * it[0];
    int state = sh[0] == 1 ? classify_hull(point, sh, optics, node, place, f.reach, nullptr, used, mode)
                           : classify_loop(point, sh, optics, node, place, f.reach, nullptr, used, totals);
    if (state == (it[1] == 0 ? CLEAR : DARK)) return;
    if (it[2] != NONE && classify_hull(point, shape + 3 * it[2], optics, node, place, f.reach, nullptr, used, mode) == DARK) return;
    atomicOr(wanted + cell * words + k / 32, 1u << (k % 32));
}

extern "C" __global__ void list_tiles(const Frame* frame, int tiles, const double* point, const int* shape, const int* item,
        const double* optics, const int* row, const int* column, const unsigned char* usable,
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
    float sides[16 * MAXS];
    Entry entry[MAXE];
    int used = 0, entries = 0;
    bool full = false;
    for (int k = 0; k < f.items && !full; k++) {
        if (!(wanted[(i * f.cells_across + j) * words + k / 32] >> (k % 32) & 1)) continue;
        const int* it = item + 4 * k;
        const int* sh = shape + 3 * it[0];
        Entry e = {it[3], it[1], PLANES, used, used, NONE, 0, 0};
        int state = sh[0] == 1 ? classify_hull(point, sh, optics, node, place, f.reach, sides, used, e.mode)
                               : classify_loop(point, sh, optics, node, place, f.reach, sides, used, totals);
        full = used > MAXS;
        if (full || state == (e.sense == 0 ? CLEAR : DARK)) continue;
        e.last = used;
        int hull_state = CLEAR;
        if (it[2] != NONE) {
            int mode = PLANES;
            e.hull_first = used;
            hull_state = classify_hull(point, shape + 3 * it[2], optics, node, place, f.reach, sides, used, mode);
            e.hull_last = used;
            if (hull_state == CUT) e.hull_mode = mode;
            if (hull_state == DARK) { used = e.first; continue; }
        }
        full = used > MAXS || entries == MAXE;
        if (full) continue;
        if (state != CUT) {
            if (hull_state == CLEAR) { e.mode = ALL_DARK; entry[entries++] = e; break; }
            e.sense = 1; e.mode = e.hull_mode; e.first = e.hull_first; e.last = e.hull_last; e.hull_mode = NONE;
        }
        entry[entries++] = e;
    }
    if (full) { atomicAdd(totals + 3, 1); return; }
    if (entries == 0) return;
    if (entries == 1 && entry[0].mode == ALL_DARK) { head[tile] = make_int4(3, entry[0].part, 0, 0); return; }
    int kind = one_way(entry, entries, sides, used) ? 1 : 2;
    int first = atomicAdd(totals, used), from = atomicAdd(totals + 1, entries);
    if (first + used > side_room || from + entries > entry_room) { atomicAdd(totals + 3, 1); return; }
    for (int k = 0; k < 16 * used; k++) side_pool[16 * (size_t)first + k] = sides[k];
    for (int k = 0; k < entries; k++) {
        const int* words = (const int*)(entry + k);
        for (int w = 0; w < 8; w++) entry_pool[8 * (from + k) + w] = words[w];
    }
    head[tile] = make_int4(kind, first, from, used | entries << 16);
}

__device__ float segment_share(float h) {
    float x = fminf(fabsf(h), 1.0f);
    float cut = fmaxf((acosf(x) - x * sqrtf(fmaxf(1.0f - x * x, 0.0f))) * 0.31830988618f, 0.0f);
    return h >= 0.0f ? 1.0f - cut : cut;
}

__device__ float between(const float* s, float fx, float fy) {
    float top = s[0] + (s[1] - s[0]) * fx, bottom = s[2] + (s[3] - s[2]) * fx;
    return top + (bottom - top) * fy;
}

__device__ void nearest(const float* side, const int* entry, int entries, float fx, float fy, float& share, int& part) {
    float h = 1.0f, before = 1.0f, loss[MAXE];
    for (int k = 0; k < entries; k++) {
        const int* e = entry + 8 * k;
        if (e[2] == ALL_DARK) h = -1.0f;
        else for (int s = e[3]; s < e[4]; s++) {
            const float* p = side + 16 * s;
            float au = between(p, fx, fy), av = between(p + 4, fx, fy), bu = between(p + 8, fx, fy), bv = between(p + 12, fx, fy);
            float at = (au * bv - av * bu) * rsqrtf(fmaxf((bu - au) * (bu - au) + (bv - av) * (bv - av), 1e-30f));
            h = fminf(h, e[1] == 0 ? at : -at);
        }
        share = segment_share(h);
        loss[k] = before - share;
        before = share;
    }
    part = -1;
    float worst = 1e-7f;
    if (share < 1.0f) for (int k = 0; k < entries; k++) {
        float sum = 0.0f;
        for (int m = 0; m < entries; m++) if (entry[8 * m] == entry[8 * k]) sum += loss[m];
        if (sum > worst) { worst = sum; part = entry[8 * k]; }
    }
    if (part < 0) share = 1.0f;
}

#define PIECES 4
#define EVERY 0xffffffffu
struct Open { float low[PIECES], high[PIECES]; int most; };  // `most` is how many the warp's lanes look at

// Takes x..y out of the open pieces; what breaks into more than there is room for counts as stopped.
__device__ void cut_out(Open& o, float x, float y) {
    float rest_low = 0.0f, rest_high = 0.0f;
#pragma unroll
    for (int i = 0; i < PIECES; i++) if (i < o.most) {
        float low = o.low[i], high = o.high[i];
        if (x < y && y > low && x < high) {
            if (x > low && y < high) { rest_low = y; rest_high = high; }
            if (x > low) o.high[i] = x; else o.low[i] = fminf(y, high);
        }
    }
    bool placed = rest_low >= rest_high;
    if (!__any_sync(EVERY, !placed)) return;
    int mine = o.most;
#pragma unroll
    for (int i = 0; i < PIECES; i++)
        if (!placed && o.low[i] >= o.high[i]) {
            o.low[i] = rest_low; o.high[i] = rest_high;
            placed = true;
            mine = max(mine, i + 1);
        }
    while (__any_sync(EVERY, mine > o.most)) o.most++;
}

__device__ void within(const float4* line, int mode, int first, int last, float v, float& low, float& high) {
    low = mode == SPAN ? 2.0f : -2.0f; high = -low;
    for (int s = first; s < last; s++) {
        float4 l = line[s];
        float u = l.x + l.y * v;
        if (mode == SPAN) { if (v >= l.z && v <= l.w) { low = fminf(low, u); high = fmaxf(high, u); } }
        else if (l.z > 0.0f) high = fminf(high, u);
        else low = fmaxf(low, u);
    }
}

// A side as u = x + y v; z tells which way a plane is open, z and w how far a span's segment reaches.
__device__ float4 line_of(const float* p, bool span, float fx, float fy) {
    float au = between(p, fx, fy), av = between(p + 4, fx, fy), bu = between(p + 8, fx, fy), bv = between(p + 12, fx, fy);
    float du = bu - au, dv = bv - av, least = 1e-6f * (fabsf(du) + fabsf(dv)) + 1e-30f;
    float level = fabsf(dv) < least ? copysignf(least, dv) : dv;
    return make_float4((au * dv - av * du) / level, du / level, span ? fminf(av, bv) : level, fmaxf(av, bv));
}

// What is left of a chord from which nothing but an end was taken before.
__device__ float left_of(float& low, float& high, const float4* line, const int* e, float v) {
    float from, to, hull_low = -2.0f, hull_high = 2.0f;
    if (e[2] == ALL_DARK) { from = 2.0f; to = -2.0f; } else within(line, e[2], e[3], e[4], v, from, to);
    float whole = fmaxf(high - low, 0.0f);
    if (e[1] == 1) return whole - fmaxf(fminf(high, to) - fmaxf(low, from), 0.0f);
    if (e[5] != NONE) {
        within(line, e[5], e[6], e[7], v, hull_low, hull_high);
        float stopped = fmaxf(fminf(high, hull_high) - fmaxf(low, hull_low), 0.0f);
        from = fmaxf(from, hull_low); to = fminf(to, hull_high);
        return whole - stopped + fmaxf(fminf(high, to) - fmaxf(low, from), 0.0f);
    }
    low = fmaxf(low, from); high = fminf(high, to);
    return fmaxf(high - low, 0.0f);
}

__device__ void by_chords(const float* side, const int* entry, int entries, int sides, const bool* spans, bool plain, float4* line,
                          const float* rule, int lane, float fx, float fy, float& share, int& part) {
    for (int s = lane; s < sides; s += 32) {
        line[s] = line_of(side + 16 * s, spans[s], fx, fy);
    }
    __syncwarp();
    Open open;
    float v = rule[lane], each = rule[96 + lane];
#pragma unroll
    for (int i = 0; i < PIECES; i++) open.low[i] = open.high[i] = 0.0f;
    open.high[0] = rule[64 + lane]; open.low[0] = -open.high[0]; open.most = 1;
    float before = 1.0f, mine = 0.0f;
    for (int k = 0; k < entries; k++) {
        const int* e = entry + 8 * k;
        float sum = 0.0f;
        if (plain) sum = left_of(open.low[0], open.high[0], line, e, v);
        else if (e[2] != ALL_DARK) {
            float low, high, hull_low = -2.0f, hull_high = 2.0f;
            within(line, e[2], e[3], e[4], v, low, high);
            if (e[1] == 1) cut_out(open, low, high);
            else {
                if (e[5] != NONE) within(line, e[5], e[6], e[7], v, hull_low, hull_high);
                if (low >= high) low = high = hull_high;
                cut_out(open, hull_low, fminf(low, hull_high));
                cut_out(open, fmaxf(high, hull_low), hull_high);
            }
#pragma unroll
            for (int i = 0; i < PIECES; i++) if (i < open.most) sum += fmaxf(open.high[i] - open.low[i], 0.0f);
        }
        sum *= each;
        for (int d = 16; d; d >>= 1) sum += __shfl_xor_sync(EVERY, sum, d);
        if (lane == k) mine = before - sum;
        before = sum;
    }
    share = before;
    float total = 0.0f;
    for (int k = 0; k < entries; k++) {
        float other = __shfl_sync(EVERY, mine, k);
        if (lane < entries && entry[8 * k] == entry[8 * lane]) total += other;
    }
    part = entry[0];
    float worst = __shfl_sync(EVERY, total, 0);
    for (int k = 1; k < entries; k++) {
        float other = __shfl_sync(EVERY, total, k);
        if (other > worst) { worst = other; part = entry[8 * k]; }
    }
    if (share >= 1.0f - 1e-6f) { share = 1.0f; part = -1; }
    share = fminf(fmaxf(share, 0.0f), 1.0f);
    __syncwarp();
}

extern "C" __global__ void __launch_bounds__(256) cover_tiles(const Frame* frame, const int4* head, const float* side_pool,
        const int* entry_pool, const float* chords, float* clear, short* by) {
    const Frame f = *frame;
    __shared__ float side[16 * MAXS], rule[128], shares[256];
    __shared__ int entry[8 * MAXE];
    __shared__ short parts[256];
    __shared__ bool spans[MAXS];
    __shared__ float4 line[8][MAXS];
    int tile = blockIdx.x, t = threadIdx.x;
    int r0 = tile / f.tiles_across * f.tile, c0 = tile % f.tiles_across * f.tile;
    int tall = min(f.tile, f.rows - r0), wide = min(f.tile, f.columns - c0);
    int4 h = head[tile];
    int x = t % f.tile, y = t / f.tile;
    bool mine = x < wide && y < tall;
    float share = h.x == 3 ? 0.0f : 1.0f;
    int part = h.x == 3 ? h.y : -1;
    if (h.x == 1 || h.x == 2) {
        int sides = h.w & 0xffff, entries = h.w >> 16;
        for (int k = t; k < 16 * sides; k += 256) side[k] = side_pool[16 * (size_t)h.y + k];
        if (t < 8 * entries) entry[t] = entry_pool[8 * h.z + t];
        if (t < 128) rule[t] = chords[t];
        __syncthreads();
        bool plain = true;
        for (int k = 0; k + 1 < entries; k++) plain &= entry[8 * k + 1] == 0 && entry[8 * k + 5] == NONE;
        if (t < sides) {
            bool span = false;
            for (int k = 0; k < entries; k++) {
                const int* e = entry + 8 * k;
                span |= (e[2] == SPAN && t >= e[3] && t < e[4]) || (e[5] == SPAN && t >= e[6] && t < e[7]);
            }
            spans[t] = span;
        }
        __syncthreads();
        float across = 1.0f / max(wide - 1, 1), down = 1.0f / max(tall - 1, 1);
        if (h.x == 1) { if (mine) nearest(side, entry, entries, x * across, y * down, share, part); }
        else {
            for (int p = t / 32; p < wide * tall; p += 8) {
                by_chords(side, entry, entries, sides, spans, plain, line[t / 32], rule, t % 32, p % wide * across, p / wide * down,
                          share, part);
                if (t % 32 == 0) { int q = p / wide * f.tile + p % wide; shares[q] = share; parts[q] = (short)part; }
            }
            __syncthreads();
            if (mine) { share = shares[t]; part = parts[t]; }
        }
    }
    if (mine) {
        size_t at = (size_t)(r0 + y) * f.columns + c0 + x;
        clear[at] = share;
        by[at] = (short)part;
    }
}
"""
