"""CUDA source of the kernel that covers tiles of pixels; it goes on where `gpu_source` ends, and uses what stands there."""

COVERING = r"""
#define MOST_OPEN 6  // pieces of a line

__device__ float segment_share(float h) {
    float x = fminf(fabsf(h), 1.0f);
    float cut = fmaxf((acosf(x) - x * sqrtf(fmaxf(1.0f - x * x, 0.0f))) * 0.31830988618f, 0.0f);
    return h >= 0.0f ? 1.0f - cut : cut;
}

__device__ float between(const float* s, float fx, float fy) {
    float top = s[0] + (s[1] - s[0]) * fx, bottom = s[2] + (s[3] - s[2]) * fx;
    return top + (bottom - top) * fy;
}

// A x B of a side at a pixel, over the side's greatest length.
__device__ double cross_at(const float* s, float fx, float fy) {
    double x = fx, y = fy, gx = 1.0 - x, gy = 1.0 - y, x0 = gx * gx, x1 = 2.0 * gx * x, x2 = x * x, row[3];
    for (int k = 0; k < 3; k++) {
        const float *n = s + 3 * k, *more = s + 25 + 3 * k;
        row[k] = ((double)n[0] + more[0]) * x0 + ((double)n[1] + more[1]) * x1 + ((double)n[2] + more[2]) * x2;
    }
    return row[0] * gy * gy + row[1] * 2.0 * gy * y + row[2] * y * y;
}

// The part of which entries stop most, and the share as 1 where that is next to nothing.
__device__ void blame(const int* entry, int entries, const float* loss, float least, float& share, int& part) {
    part = -1;
    float worst = least;
    if (share < 1.0f) for (int k = 0; k < entries; k++) {
        float sum = 0.0f;
        for (int m = 0; m < entries; m++) if (entry[8 * m] == entry[8 * k]) sum += loss[m];
        if (sum > worst) { worst = sum; part = entry[8 * k]; }
    }
    share = part < 0 ? 1.0f : fminf(fmaxf(share, 0.0f), 1.0f);
}

__device__ void nearest(const float* side, const int* entry, int entries, float fx, float fy, float& share, int& part) {
    float h = 1.0f, before = 1.0f, loss[MAXE];
    for (int k = 0; k < entries; k++) {
        const int* e = entry + 8 * k;
        if (e[2] == ALL_DARK) h = -1.0f;
        else for (int s = e[3]; s < e[4]; s++) {
            const float* p = side + SIDE * s;
            float du = between(p + 9, fx, fy), dv = between(p + 13, fx, fy);
            float at = (float)(cross_at(p, fx, fy) * rsqrtf(fmaxf(du * du + dv * dv, 1e-30f)));
            h = fminf(h, e[1] == 0 ? at : -at);
        }
        share = segment_share(h);
        loss[k] = before - share;
        before = share;
    }
    blame(entry, entries, loss, 1e-7f, share, part);
}

// Takes x..y out of the open pieces of a line.
__device__ void cut_line(float* low, float* high, int& pieces, bool& lost, float x, float y) {
    if (x < y) for (int i = pieces - 1; i >= 0; i--) {
        if (y <= low[i] || x >= high[i]) continue;
        if (x > low[i] && y < high[i]) {
            if (pieces < MOST_OPEN) { low[pieces] = y; high[pieces] = high[i]; pieces++; } else lost = true;
        }
        if (x > low[i]) high[i] = x; else low[i] = fminf(y, high[i]);
    }
}

// What lies inside sides that run along (ref_u, ref_v), along the normal to its left.
__device__ void along_normal(const float* side, int first, int last, float ref_u, float ref_v, float fx, float fy,
                             float& low, float& high) {
    low = -2.0f; high = 2.0f;
    for (int k = first; k < last; k++) {
        const float* p = side + SIDE * k;
        float du = between(p + 9, fx, fy), dv = between(p + 13, fx, fy);
        float h = (float)(cross_at(p, fx, fy) * rsqrtf(fmaxf(du * du + dv * dv, 1e-30f)));
        if (du * ref_u + dv * ref_v > 0.0f) low = fmaxf(low, -h); else high = fminf(high, h);
    }
}

__device__ void by_pieces(const float* side, const int* entry, int entries, float fx, float fy, float& share, int& part) {
    float low[MOST_OPEN], high[MOST_OPEN], loss[MAXE], before = 1.0f;
    float ref_u = between(side + 9, fx, fy), ref_v = between(side + 13, fx, fy);
    int pieces = 1;
    bool lost = false;
    low[0] = -1.0f; high[0] = 1.0f;
    for (int k = 0; k < entries; k++) {
        const int* e = entry + 8 * k;
        float after = 0.0f;
        if (e[2] != ALL_DARK) {
            float from, to, hull_from = -2.0f, hull_to = 2.0f;
            along_normal(side, e[3], e[4], ref_u, ref_v, fx, fy, from, to);
            if (e[5] != NONE) along_normal(side, e[6], e[7], ref_u, ref_v, fx, fy, hull_from, hull_to);
            if (e[1] == 1) cut_line(low, high, pieces, lost, from, to);
            else {
                if (from >= to) from = to = hull_to;
                cut_line(low, high, pieces, lost, hull_from, fminf(from, hull_to));
                cut_line(low, high, pieces, lost, fmaxf(to, hull_from), hull_to);
            }
            for (int i = 0; i < pieces; i++) if (low[i] < high[i]) after += segment_share(high[i]) - segment_share(low[i]);
        }
        loss[k] = before - after;
        before = after;
    }
    share = before;
    blame(entry, entries, loss, 1e-6f, share, part);
    if (lost) { share = -1.0f; part = -1; }
}

// Half planes du, dv (their sides' directions, the inside to the left) and h (the disc's centre inside), and what of each one's
// line lies in the disc and in all the others: from low to high, counted from the point next to the centre.
struct Planes { float du[MAXA], dv[MAXA], h[MAXA], low[MAXA], high[MAXA]; int count; bool empty, inside, near; };

// Takes of two lines what the other's half plane leaves of them. Both meet at one point told by the same sums, however askew they
// are: with s the sine between them, 1 - cos is s^2 / (1 + cos).
__device__ void clip_both(Planes& p, int i, int j) {
    float cosine = p.du[i] * p.du[j] + p.dv[i] * p.dv[j], s = p.du[j] * p.dv[i] - p.dv[j] * p.du[i], hi = p.h[i], hj = p.h[j];
    float gap = cosine > 0.0f ? hi - hj : hi + hj;
    if (s == 0.0f) {
        if (cosine > 0.0f) { if (gap >= 0.0f) p.high[i] = -2.0f; else p.high[j] = -2.0f; }
        else if (gap < 0.0f) p.high[i] = p.high[j] = -2.0f;
        return;
    }
    float bend = s / (1.0f + fabsf(cosine)), at = gap / s;
    float ti = cosine > 0.0f ? at - hi * bend : hi * bend - at, tj = cosine > 0.0f ? at + hj * bend : at - hj * bend;
    if (s > 0.0f) { p.low[i] = fmaxf(p.low[i], ti); p.high[j] = fminf(p.high[j], tj); }
    else { p.high[i] = fminf(p.high[i], ti); p.low[j] = fmaxf(p.low[j], tj); }
}

__device__ void add_planes(Planes& p, const float* side, int first, int last, bool turned, float fx, float fy) {
    for (int k = first; k < last; k++) {
        const float* s = side + SIDE * k;
        float du = between(s + 9, fx, fy), dv = between(s + 13, fx, fy), scale = rsqrtf(fmaxf(du * du + dv * dv, 1e-30f));
        scale = turned ? -scale : scale;
        float h = (float)(cross_at(s, fx, fy) * scale) + 0.0f;
        if (h <= -1.0f) p.empty = true;
        if (h < 0.0f) p.inside = false;
        if (fabsf(h) >= 1.0f) continue;
        int n = p.count++;
        p.du[n] = du * scale; p.dv[n] = dv * scale; p.h[n] = h;
        p.high[n] = sqrtf(1.0f - h * h); p.low[n] = -p.high[n];
        for (int i = 0; i < n; i++) clip_both(p, i, n);
    }
}

// Share of the disc in all half planes: triangles about the centre over what is left of their lines, and sectors over the arcs
// between, whose angles are what the lines leave of a full turn (or of none, with the centre outside).
__device__ float share_of(Planes& p) {
    if (p.empty) return 0.0f;
    float sum = 0.0f;
    for (int i = 0; i < p.count; i++) {
        float low = p.low[i], high = p.high[i], h = p.h[i];
        if (low >= high) continue;
        float twice = h * (high - low), ends = fminf(low * low, high * high) + h * h;
        sum += twice - atan2f(twice, h * h + low * high);
        if (ends < NEAR * NEAR) p.near = true;  // angles at a corner so close to the centre are lost in rounding
    }
    return fminf(fmaxf((p.inside ? 1.0f : 0.0f) + sum * 0.15915494309f, 0.0f), 1.0f);
}

__device__ void by_areas(const float* side, const int* entry, int entries, float fx, float fy, float& share, int& part) {
    Planes p;
    p.count = 0; p.empty = p.near = false; p.inside = true;
    float before = 1.0f, loss[MAXE];
    for (int k = 0; k < entries; k++) {
        const int* e = entry + 8 * k;
        float after = 0.0f;
        if (e[2] != ALL_DARK) {
            bool half = e[1] == 1 && e[4] - e[3] == 1;
            float hull = 0.0f;
            if (e[5] != NONE) { add_planes(p, side, e[6], e[7], false, fx, fy); hull = share_of(p); }
            add_planes(p, side, e[3], e[4], half, fx, fy);
            after = share_of(p);
            if (e[1] == 1 && !half) after = before - after;
            if (e[5] != NONE) after += before - hull;
        }
        loss[k] = before - after;
        before = after;
    }
    share = before;
    blame(entry, entries, loss, 1e-6f, share, part);
    if (p.near) { share = -1.0f; part = -1; }
}

#define PIECES 4
#define EVERY 0xffffffffu
struct Open { float low[PIECES], high[PIECES]; int most; bool lost; };  // `most`: how many the warp's lanes look at

// Takes x..y out of the open pieces; what breaks into more than there is room for is lost, and said to be.
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
    o.lost |= !placed;
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

// A side as u = x + y v; z tells which way a plane is open, z and w how far a span's segment reaches. One that runs along the
// chords cuts the disc in two for a plane; of a span it has no say, for its neighbours meet every chord that it does not lie on.
__device__ float4 line_of(const float* p, bool span, float fx, float fy) {
    float du = between(p + 9, fx, fy), dv = between(p + 13, fx, fy), least = 1e-6f * (fabsf(du) + fabsf(dv)) + 1e-30f;
    bool flat = fabsf(dv) < least;
    float level = flat ? copysignf(least, dv) : dv, x = (float)(cross_at(p, fx, fy) / level);
    if (!span) return make_float4(x, du / level, level, 0.0f);
    float av = between(p + 17, fx, fy), bv = between(p + 21, fx, fy);
    return flat ? make_float4(0.0f, 0.0f, 2.0f, -2.0f) : make_float4(x, du / level, fminf(av, bv), fmaxf(av, bv));
}

__device__ void by_chords(const float* side, const int* entry, int entries, int sides, const bool* spans, float4* line,
                          const float* rule, int lane, float fx, float fy, float& share, int& part) {
    for (int s = lane; s < sides; s += 32) {
        line[s] = line_of(side + SIDE * s, spans[s], fx, fy);
    }
    __syncwarp();
    Open open;
    float v = rule[lane], each = rule[96 + lane];
#pragma unroll
    for (int i = 0; i < PIECES; i++) open.low[i] = open.high[i] = 0.0f;
    open.high[0] = rule[64 + lane]; open.low[0] = -open.high[0]; open.most = 1; open.lost = false;
    float before = 1.0f, mine = 0.0f;
    for (int k = 0; k < entries; k++) {
        const int* e = entry + 8 * k;
        float sum = 0.0f;
        if (e[2] != ALL_DARK) {
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
    if (__any_sync(EVERY, open.lost)) { share = -1.0f; part = -1; }
}

extern "C" __global__ void __launch_bounds__(256, 5) cover_tiles(const Frame* frame, const int4* head, const float* side_pool,
        const int* entry_pool, const float* chords, float* clear, short* by, int* totals) {
    const Frame f = *frame;
    __shared__ float side[SIDE * MAXS], rule[128], shares[256];
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
    float share = h.x == 3 ? 0.0f : (h.x == 4 ? -1.0f : 1.0f);
    int part = h.x == 3 ? h.y : -1;
    if (h.x == 1 || h.x == 2 || h.x >= 5) {
        int sides = h.w & 0xffff, entries = h.w >> 16;
        for (int k = t; k < SIDE * sides; k += 256) side[k] = side_pool[SIDE * (size_t)h.y + k];
        if (t < 8 * entries) entry[t] = entry_pool[8 * h.z + t];
        if (t < 128) rule[t] = chords[t];
        __syncthreads();
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
        else if (h.x == 6) { if (mine) by_pieces(side, entry, entries, x * across, y * down, share, part); }
        else if (h.x == 5) { if (mine) by_areas(side, entry, entries, x * across, y * down, share, part); }
        else {
            for (int p = t / 32; p < wide * tall; p += 8) {
                by_chords(side, entry, entries, sides, spans, line[t / 32], rule, t % 32, p % wide * across, p / wide * down,
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
        if (share < 0.0f) atomicAdd(totals + 3, 1);
    }
}
"""
