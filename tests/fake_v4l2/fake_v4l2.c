/* A USB video camera without hardware: loaded with LD_PRELOAD, it answers for /dev/video0 (pictures) and
 * /dev/video1 (a metadata node, as real cameras have) in place of the kernel.
 *
 * It exercises the code of a client of Video4Linux2, through unmodified libraries. It does NOT prove that a given
 * camera works: real drivers differ in what they accept, round, delay and leave out.
 *
 * Environment:
 *   FAKE_V4L2_CONTROL  file whose first word is the state, read again and again: ok, unplugged, stalled (no more
 *                      frames), wedged (a wait never returns), frozen (one frame for ever), torn (every other MJPG picture
 *                      spoilt), garbled (all of them), occupied, denied
 *   FAKE_V4L2_FRAMES   folder of WxH.mjpg files: JPEG pictures one after another, played in a loop. A size is
 *                      offered as MJPG only if its file is there; YUYV is drawn here, in all sizes.
 *   FAKE_V4L2_FPS      frames a second (30)
 *
 * Structures and numbers: linux/videodev2.h, and the kernel's Video for Linux API documentation.
 */
#define _GNU_SOURCE
#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <linux/videodev2.h>
#include <poll.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/select.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/sysmacros.h>
#include <time.h>
#include <unistd.h>

#define REAL(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))
#define LEN(a) ((int)(sizeof(a) / sizeof((a)[0])))
#define MOST_BUFFERS 8

static const int SIZES[][2] = {{640, 480}, {1280, 720}, {1280, 1024}, {1920, 1080}, {2592, 1944}};
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;

typedef struct {
    unsigned char *at;
    unsigned used, sequence;
    double due;
    int queued, filled;
} Buffer;

typedef struct {
    int fd, node, dead, nonblocking;
    Buffer buffers[MOST_BUFFERS];
    int count, fifo[MOST_BUFFERS], waiting; /* fifo: indices in the order in which they were queued */
} Handle;

static Handle handles[64];
static Handle *streamer; /* one handle at a time may own the stream, as in uvcvideo */
static struct { unsigned format; int w, h, fps_asked; double began; long made; } device = {V4L2_PIX_FMT_YUYV, 640, 480, 0, 0, 0};

typedef struct { unsigned id; const char *name; int type, min, max, step, def, value; } Knob;
static Knob knobs[] = { /* by id, which is the order in which a driver walks through them */
    {V4L2_CID_BRIGHTNESS, "Brightness", V4L2_CTRL_TYPE_INTEGER, 0, 255, 1, 128, 128},
    {V4L2_CID_GAIN, "Gain", V4L2_CTRL_TYPE_INTEGER, 0, 100, 1, 0, 0},
    {V4L2_CID_EXPOSURE_AUTO, "Auto Exposure", V4L2_CTRL_TYPE_MENU, 0, 3, 1, 3, 3},
    {V4L2_CID_EXPOSURE_ABSOLUTE, "Exposure Time, Absolute", V4L2_CTRL_TYPE_INTEGER, 1, 5000, 1, 157, 157},
    {V4L2_CID_FOCUS_ABSOLUTE, "Focus, Absolute", V4L2_CTRL_TYPE_INTEGER, 0, 250, 5, 0, 0},
    {V4L2_CID_FOCUS_AUTO, "Focus, Automatic Continuous", V4L2_CTRL_TYPE_BOOLEAN, 0, 1, 1, 1, 1},
};

/* ---- state, clock, pictures ---- */

static int state_is(const char *word) {
    static char text[32] = "ok";
    static double read_at = -1;
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    double now = t.tv_sec + t.tv_nsec * 1e-9;
    if (now - read_at > 0.005) {
        const char *path = getenv("FAKE_V4L2_CONTROL");
        int fd = path ? (int)syscall(SYS_openat, AT_FDCWD, path, O_RDONLY, 0) : -1;
        if (fd >= 0) {
            char fresh[32];
            ssize_t n = syscall(SYS_read, fd, fresh, sizeof fresh - 1);
            syscall(SYS_close, fd);
            if (n > 0) { /* an empty file is one that is just being written */
                fresh[n] = 0;
                fresh[strcspn(fresh, " \n")] = 0;
                strcpy(text, fresh);
            }
        }
        read_at = now;
    }
    return strcmp(text, word) == 0;
}

static double now_s(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return t.tv_sec + t.tv_nsec * 1e-9;
}

static int top_fps(void) { const char *s = getenv("FAKE_V4L2_FPS"); return s && atoi(s) > 0 ? atoi(s) : 30; }
static double fps(void) { return device.fps_asked > 0 && device.fps_asked < top_fps() ? device.fps_asked : top_fps(); }

static struct Film { unsigned char *data; size_t size; size_t *starts; int count; int looked; } films[LEN(SIZES)];

static struct Film *film(int size) { /* JPEG ends with FF D9, which its data never contain: ITU-T T.81, B.1.1 */
    struct Film *f = &films[size];
    if (f->looked) return f;
    f->looked = 1;
    char path[4096];
    snprintf(path, sizeof path, "%s/%dx%d.mjpg", getenv("FAKE_V4L2_FRAMES") ?: "", SIZES[size][0], SIZES[size][1]);
    FILE *in = fopen(path, "rb");
    if (!in) return f;
    fseek(in, 0, SEEK_END);
    f->size = ftell(in);
    rewind(in);
    f->data = malloc(f->size);
    f->starts = malloc(100001 * sizeof(size_t));
    f->starts[0] = 0;
    if (fread(f->data, 1, f->size, in) == f->size)
        for (size_t i = 1; i < f->size && f->count < 100000; i++)
            if (f->data[i - 1] == 0xFF && f->data[i] == 0xD9) f->starts[++f->count] = i + 1;
    fclose(in);
    return f;
}

static int nth_size(unsigned format, int n) { /* index into SIZES of the nth size offered in a format, or -1 */
    if (format != V4L2_PIX_FMT_MJPEG && format != V4L2_PIX_FMT_YUYV) return -1;
    for (int i = 0; i < LEN(SIZES); i++)
        if ((format == V4L2_PIX_FMT_YUYV || film(i)->count) && n-- == 0) return i;
    return -1;
}

static void draw(Buffer *b, long n) {
    if (state_is("frozen")) n = 0;
    if (device.format == V4L2_PIX_FMT_MJPEG) {
        struct Film *f = NULL;
        for (int i = 0; i < LEN(SIZES); i++) if (SIZES[i][0] == device.w) f = film(i);
        size_t k = n % f->count;
        b->used = f->starts[k + 1] - f->starts[k];
        memcpy(b->at, f->data + f->starts[k], b->used);
        if (state_is("torn") && n % 4 == 1) b->used /= 2; /* what a bad cable does to one picture in two */
        if (state_is("garbled") || (state_is("torn") && n % 4 == 3)) b->at[0] = 0;
        return;
    }
    /* A grey ramp that walks to the left by two pixels a frame; its brightness follows the exposure. */
    int bright = 100 * knobs[3].value / knobs[3].def + knobs[1].value;
    for (int y = 0; y < device.h; y++) {
        unsigned char *row = b->at + (size_t)y * device.w * 2;
        if (y) { memcpy(row, b->at, device.w * 2); continue; }
        for (int x = 0; x < device.w; x++) {
            int v = bright / 2 + (int)((x + 2 * n) % 256) * bright / 512;
            row[2 * x] = v > 255 ? 255 : v;
            row[2 * x + 1] = 128;
        }
    }
    b->used = device.w * device.h * 2;
}

static int advance(Handle *h) { /* fill the buffers whose frames are due; return whether one is ready */
    if (h == streamer && !state_is("stalled") && !state_is("wedged")) {
        long due = (long)((now_s() - device.began) * fps());
        for (; device.made < due; device.made++) {
            int k = 0;
            while (k < h->waiting && h->buffers[h->fifo[k]].filled) k++;
            if (k == h->waiting) continue; /* nobody gave a buffer back in time: this frame is lost */
            Buffer *b = &h->buffers[h->fifo[k]];
            b->filled = 1;
            b->sequence = device.made;
            b->due = device.began + (device.made + 1) / fps();
            draw(b, device.made);
        }
    }
    return h->waiting && h->buffers[h->fifo[0]].filled;
}

/* ---- ioctl ---- */

static int fail(int error) { errno = error; return -1; }

static void fit_format(struct v4l2_format *f) {
    struct v4l2_pix_format *p = &f->fmt.pix;
    if (nth_size(p->pixelformat, 0) < 0) p->pixelformat = V4L2_PIX_FMT_YUYV;
    int best = -1, i;
    long off = 0;
    for (int n = 0; (i = nth_size(p->pixelformat, n)) >= 0; n++) {
        long d = labs((long)SIZES[i][0] - (long)p->width) + labs((long)SIZES[i][1] - (long)p->height);
        if (best < 0 || d < off) best = i, off = d;
    }
    p->width = SIZES[best][0];
    p->height = SIZES[best][1];
    p->field = V4L2_FIELD_NONE;
    p->bytesperline = p->pixelformat == V4L2_PIX_FMT_YUYV ? p->width * 2 : 0;
    p->sizeimage = p->width * p->height * 2;
    p->colorspace = V4L2_COLORSPACE_SRGB;
}

static Knob *knob(unsigned id) {
    unsigned next = id & (V4L2_CTRL_FLAG_NEXT_CTRL | V4L2_CTRL_FLAG_NEXT_COMPOUND);
    id &= V4L2_CTRL_ID_MASK;
    for (int i = 0; i < LEN(knobs); i++)
        if (next ? knobs[i].id > id : knobs[i].id == id) return &knobs[i];
    return NULL;
}

static int turn(unsigned id, int value) {
    Knob *k = knob(id);
    if (!k) return fail(EINVAL);
    k->value = value < k->min ? k->min : value > k->max ? k->max : value;
    return 0;
}

static unsigned knob_flags(Knob *k) {
    int automatic = (k->id == V4L2_CID_EXPOSURE_ABSOLUTE && knobs[2].value != V4L2_EXPOSURE_MANUAL) ||
                    (k->id == V4L2_CID_FOCUS_ABSOLUTE && knobs[5].value);
    return automatic ? V4L2_CTRL_FLAG_INACTIVE : 0;
}

static void release(Handle *h) {
    if (streamer == h) streamer = NULL;
    for (int i = 0; i < h->count; i++) syscall(SYS_munmap, h->buffers[i].at, 2592 * 1944 * 2);
    memset(h->buffers, 0, sizeof h->buffers);
    h->count = h->waiting = 0;
}

static void tell_buffer(Handle *h, struct v4l2_buffer *v) {
    Buffer *b = &h->buffers[v->index];
    v->type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    v->memory = V4L2_MEMORY_MMAP;
    v->length = device.w * device.h * 2;
    v->m.offset = v->index << 12;
    v->bytesused = b->used;
    v->sequence = b->sequence;
    v->field = V4L2_FIELD_NONE;
    v->flags = V4L2_BUF_FLAG_TIMESTAMP_MONOTONIC | (b->queued ? V4L2_BUF_FLAG_QUEUED : 0);
    v->timestamp.tv_sec = (long)b->due;
    v->timestamp.tv_usec = (long)((b->due - (long)b->due) * 1e6);
}

static int answer(Handle *h, unsigned request, void *arg) {
    if (state_is("unplugged")) h->dead = 1;
    if (h->dead) return fail(ENODEV);
    int busy = state_is("occupied") || (streamer && streamer != h);
    if (request == VIDIOC_QUERYCAP) {
        struct v4l2_capability *c = arg;
        memset(c, 0, sizeof *c);
        strcpy((char *)c->driver, "fake_uvc");
        strcpy((char *)c->card, "Fake microscope");
        strcpy((char *)c->bus_info, "usb-fake-1");
        c->version = 0x060100;
        c->device_caps = V4L2_CAP_STREAMING | (h->node ? V4L2_CAP_META_CAPTURE : V4L2_CAP_VIDEO_CAPTURE);
        c->capabilities = V4L2_CAP_STREAMING | V4L2_CAP_META_CAPTURE | V4L2_CAP_VIDEO_CAPTURE | V4L2_CAP_DEVICE_CAPS;
        return 0;
    }
    if (h->node) return fail(EINVAL);
    switch (request) {
    case VIDIOC_ENUM_FMT: {
        struct v4l2_fmtdesc *f = arg;
        unsigned formats[] = {V4L2_PIX_FMT_MJPEG, V4L2_PIX_FMT_YUYV};
        int skip = nth_size(V4L2_PIX_FMT_MJPEG, 0) < 0;
        if (f->type != V4L2_BUF_TYPE_VIDEO_CAPTURE || (int)f->index + skip > 1) return fail(EINVAL);
        f->pixelformat = formats[f->index + skip];
        f->flags = f->pixelformat == V4L2_PIX_FMT_MJPEG ? V4L2_FMT_FLAG_COMPRESSED : 0;
        strcpy((char *)f->description, f->flags ? "Motion-JPEG" : "YUYV 4:2:2");
        return 0;
    }
    case VIDIOC_ENUM_FRAMESIZES: {
        struct v4l2_frmsizeenum *s = arg;
        int i = nth_size(s->pixel_format, s->index);
        if (i < 0) return fail(EINVAL);
        s->type = V4L2_FRMSIZE_TYPE_DISCRETE;
        s->discrete.width = SIZES[i][0];
        s->discrete.height = SIZES[i][1];
        return 0;
    }
    case VIDIOC_ENUM_FRAMEINTERVALS: {
        struct v4l2_frmivalenum *s = arg;
        if (s->index > 1) return fail(EINVAL);
        s->type = V4L2_FRMIVAL_TYPE_DISCRETE;
        s->discrete.numerator = 1 + s->index;
        s->discrete.denominator = top_fps();
        return 0;
    }
    case VIDIOC_G_FMT: {
        struct v4l2_format *f = arg;
        if (f->type != V4L2_BUF_TYPE_VIDEO_CAPTURE) return fail(EINVAL);
        f->fmt.pix.pixelformat = device.format;
        f->fmt.pix.width = device.w;
        f->fmt.pix.height = device.h;
        fit_format(f);
        return 0;
    }
    case VIDIOC_S_FMT:
    case VIDIOC_TRY_FMT: {
        struct v4l2_format *f = arg;
        if (f->type != V4L2_BUF_TYPE_VIDEO_CAPTURE) return fail(EINVAL);
        if (request == VIDIOC_S_FMT && (busy || h->count)) return fail(EBUSY);
        fit_format(f);
        if (request == VIDIOC_S_FMT)
            device.format = f->fmt.pix.pixelformat, device.w = f->fmt.pix.width, device.h = f->fmt.pix.height;
        return 0;
    }
    case VIDIOC_S_PARM:
    case VIDIOC_G_PARM: {
        struct v4l2_streamparm *p = arg;
        struct v4l2_fract *t = &p->parm.capture.timeperframe;
        if (p->type != V4L2_BUF_TYPE_VIDEO_CAPTURE) return fail(EINVAL);
        if (request == VIDIOC_S_PARM && busy) return fail(EBUSY);
        if (request == VIDIOC_S_PARM && t->numerator) device.fps_asked = t->denominator / t->numerator;
        p->parm.capture.capability = V4L2_CAP_TIMEPERFRAME;
        t->numerator = 1;
        t->denominator = (unsigned)fps();
        return 0;
    }
    case VIDIOC_REQBUFS: {
        struct v4l2_requestbuffers *r = arg;
        if (r->memory != V4L2_MEMORY_MMAP) return fail(EINVAL);
        if (busy) return fail(EBUSY);
        release(h);
        h->count = r->count = r->count > MOST_BUFFERS ? MOST_BUFFERS : r->count;
        for (int i = 0; i < h->count; i++)
            h->buffers[i].at = (void *)syscall(SYS_mmap, NULL, 2592 * 1944 * 2, PROT_READ | PROT_WRITE,
                                               MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
        return 0;
    }
    case VIDIOC_QUERYBUF: {
        struct v4l2_buffer *v = arg;
        if ((int)v->index >= h->count) return fail(EINVAL);
        tell_buffer(h, v);
        return 0;
    }
    case VIDIOC_QBUF: {
        struct v4l2_buffer *v = arg;
        if ((int)v->index >= h->count || h->buffers[v->index].queued) return fail(EINVAL);
        advance(h); /* what was due before this buffer came can't be in it */
        h->buffers[v->index].queued = 1;
        h->buffers[v->index].filled = 0;
        h->fifo[h->waiting++] = v->index;
        return 0;
    }
    case VIDIOC_DQBUF: {
        struct v4l2_buffer *v = arg;
        if (!advance(h)) return fail(EAGAIN);
        v->index = h->fifo[0];
        memmove(h->fifo, h->fifo + 1, --h->waiting * sizeof(int));
        h->buffers[v->index].queued = h->buffers[v->index].filled = 0;
        tell_buffer(h, v);
        return 0;
    }
    case VIDIOC_STREAMON:
        if (busy) return fail(EBUSY);
        streamer = h;
        device.began = now_s();
        device.made = 0;
        return 0;
    case VIDIOC_STREAMOFF:
        if (streamer == h) streamer = NULL;
        h->waiting = 0;
        for (int i = 0; i < h->count; i++) h->buffers[i].queued = h->buffers[i].filled = 0;
        return 0;
    case VIDIOC_QUERYCTRL: {
        struct v4l2_queryctrl *q = arg;
        Knob *k = knob(q->id);
        if (!k) return fail(EINVAL);
        *q = (struct v4l2_queryctrl){.id = k->id, .type = k->type, .minimum = k->min, .maximum = k->max,
                                     .step = k->step, .default_value = k->def, .flags = knob_flags(k)};
        strcpy((char *)q->name, k->name);
        return 0;
    }
    case VIDIOC_QUERY_EXT_CTRL: {
        struct v4l2_query_ext_ctrl *q = arg;
        Knob *k = knob(q->id);
        if (!k) return fail(EINVAL);
        *q = (struct v4l2_query_ext_ctrl){.id = k->id, .type = k->type, .minimum = k->min, .maximum = k->max,
                                          .step = k->step, .default_value = k->def, .flags = knob_flags(k),
                                          .elem_size = 4, .elems = 1};
        strcpy(q->name, k->name);
        return 0;
    }
    case VIDIOC_G_CTRL: {
        struct v4l2_control *c = arg;
        Knob *k = knob(c->id);
        if (!k) return fail(EINVAL);
        c->value = k->value;
        return 0;
    }
    case VIDIOC_S_CTRL:
        return turn(((struct v4l2_control *)arg)->id, ((struct v4l2_control *)arg)->value);
    case VIDIOC_G_EXT_CTRLS:
    case VIDIOC_S_EXT_CTRLS: {
        struct v4l2_ext_controls *c = arg;
        for (unsigned i = 0; i < c->count; i++) {
            Knob *k = knob(c->controls[i].id);
            if (!k) return fail(EINVAL);
            if (request == VIDIOC_S_EXT_CTRLS) turn(k->id, c->controls[i].value);
            else c->controls[i].value = c->which == V4L2_CTRL_WHICH_DEF_VAL ? k->def : k->value;
        }
        return 0;
    }
    case VIDIOC_G_INPUT: *(int *)arg = 0; return 0;
    case VIDIOC_S_INPUT: return *(int *)arg ? fail(EINVAL) : 0;
    case VIDIOC_ENUMINPUT: {
        struct v4l2_input *in = arg;
        if (in->index) return fail(EINVAL);
        memset(in, 0, sizeof *in);
        strcpy((char *)in->name, "Camera 1");
        in->type = V4L2_INPUT_TYPE_CAMERA;
        return 0;
    }
    default: return fail(ENOTTY);
    }
}

/* ---- what the dynamic linker finds first ---- */

static int node_of(const char *path) {
    return path && strcmp(path, "/dev/video0") == 0 ? 0 : path && strcmp(path, "/dev/video1") == 0 ? 1 : -1;
}

static Handle *handle_of(int fd) {
    if (fd > 0)
        for (int i = 0; i < LEN(handles); i++) if (handles[i].fd == fd) return &handles[i];
    return NULL;
}

static int open_node(int node, int flags) {
    if (state_is("unplugged")) return fail(ENOENT);
    if (state_is("denied")) return fail(EACCES);
    int fd = (int)syscall(SYS_openat, AT_FDCWD, "/dev/null", O_RDWR | (flags & O_CLOEXEC), 0);
    pthread_mutex_lock(&lock);
    for (int i = 0; i < LEN(handles); i++)
        if (!handles[i].fd) {
            handles[i] = (Handle){.fd = fd, .node = node, .nonblocking = flags & O_NONBLOCK};
            break;
        }
    pthread_mutex_unlock(&lock);
    return fd;
}

#define OPENS(name)                                                                                                   \
    int name(const char *path, int flags, ...) {                                                                      \
        va_list more;                                                                                                 \
        va_start(more, flags);                                                                                        \
        mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(more, mode_t) : 0;                                       \
        va_end(more);                                                                                                 \
        return node_of(path) >= 0 ? open_node(node_of(path), flags)                                                   \
                                  : (int)syscall(SYS_openat, AT_FDCWD, path, flags, mode);                            \
    }
OPENS(open)
OPENS(open64)

int close(int fd) {
    pthread_mutex_lock(&lock);
    Handle *h = handle_of(fd);
    if (h) release(h), h->fd = 0;
    pthread_mutex_unlock(&lock);
    return (int)syscall(SYS_close, fd);
}

static int wait_ready(int fd, double limit_s) { /* 1 ready or gone, 0 not in time */
    double until = now_s() + limit_s;
    for (;;) {
        pthread_mutex_lock(&lock);
        Handle *h = handle_of(fd);
        int gone = !h || h->dead || state_is("unplugged");
        int ready = !gone && advance(h), wedged = state_is("wedged");
        pthread_mutex_unlock(&lock);
        if (gone || ready) return 1;
        if (now_s() >= until && !wedged) return 0;
        nanosleep(&(struct timespec){0, 1000000}, NULL);
    }
}

int ioctl(int fd, unsigned long request, ...) {
    va_list more;
    va_start(more, request);
    void *arg = va_arg(more, void *);
    va_end(more);
    pthread_mutex_lock(&lock);
    Handle *h = handle_of(fd);
    int result = h ? answer(h, (unsigned)request, arg) : 0, again = h && result < 0 && errno == EAGAIN;
    int blocking = h && !h->nonblocking;
    pthread_mutex_unlock(&lock);
    if (!h) return (int)syscall(SYS_ioctl, fd, request, arg);
    if (again && blocking && wait_ready(fd, 1e9)) return ioctl(fd, request, arg);
    return result;
}

static void *map(void *at, size_t length, int protection, int flags, int fd, off_t offset) {
    Handle *h = handle_of(fd);
    if (h) return offset >> 12 < h->count ? h->buffers[offset >> 12].at : (fail(EINVAL), MAP_FAILED);
    return (void *)syscall(SYS_mmap, at, length, protection, flags, fd, offset);
}
void *mmap(void *a, size_t n, int p, int f, int fd, off_t o) { return map(a, n, p, f, fd, o); }
void *mmap64(void *a, size_t n, int p, int f, int fd, off64_t o) { return map(a, n, p, f, fd, o); }

int munmap(void *at, size_t length) { /* buffers are let go of with their handle */
    for (int i = 0; i < LEN(handles); i++)
        for (int k = 0; handles[i].fd && k < handles[i].count; k++) if (handles[i].buffers[k].at == at) return 0;
    return (int)syscall(SYS_munmap, at, length);
}

int select(int n, fd_set *reads, fd_set *writes, fd_set *others, struct timeval *limit) {
    int fd = n - 1;
    if (!reads || !FD_ISSET(fd, reads) || !handle_of(fd)) return REAL(select)(n, reads, writes, others, limit);
    int ready = wait_ready(fd, limit ? limit->tv_sec + limit->tv_usec * 1e-6 : 1e9);
    if (!ready) FD_ZERO(reads);
    return ready;
}

int poll(struct pollfd *fds, nfds_t n, int limit_ms) {
    if (n != 1 || !handle_of(fds[0].fd)) return REAL(poll)(fds, n, limit_ms);
    int ready = wait_ready(fds[0].fd, limit_ms < 0 ? 1e9 : limit_ms * 1e-3);
    fds[0].revents = ready ? POLLIN : 0;
    return ready;
}

/* A client that looks through /dev must find the nodes, and nothing once they are unplugged. */

#define STATS(name, Type)                                                                                             \
    int name(const char *restrict path, struct Type *restrict out) {                                                  \
        if (node_of(path) < 0) return REAL(name)(path, out);                                                          \
        if (state_is("unplugged")) return fail(ENOENT);                                                               \
        memset(out, 0, sizeof *out);                                                                                  \
        out->st_mode = S_IFCHR | 0660;                                                                                \
        out->st_rdev = makedev(81, node_of(path));                                                                    \
        return 0;                                                                                                     \
    }
STATS(stat, stat)
STATS(stat64, stat64)
STATS(lstat, stat)
STATS(lstat64, stat64)

int access(const char *path, int how) {
    if (node_of(path) < 0) return REAL(access)(path, how);
    return state_is("unplugged") ? fail(ENOENT) : state_is("denied") && how ? fail(EACCES) : 0;
}

static struct { DIR *dir; int told; } listing[16];

DIR *opendir(const char *path) {
    DIR *dir = REAL(opendir)(path);
    if (dir && (strcmp(path, "/dev") == 0 || strcmp(path, "/dev/") == 0))
        for (int i = 0; i < LEN(listing); i++) if (!listing[i].dir) { listing[i].dir = dir; listing[i].told = 0; break; }
    return dir;
}

int closedir(DIR *dir) {
    for (int i = 0; i < LEN(listing); i++) if (listing[i].dir == dir) listing[i].dir = NULL;
    return REAL(closedir)(dir);
}

#define READDIRS(name, Entry)                                                                                         \
    struct Entry *name(DIR *dir) {                                                                                    \
        static struct Entry extra[2];                                                                                 \
        struct Entry *entry = REAL(name)(dir);                                                                        \
        for (int i = 0; !entry && i < LEN(listing); i++)                                                       \
            if (listing[i].dir == dir && listing[i].told < 2 && !state_is("unplugged")) {                             \
                entry = &extra[listing[i].told];                                                                      \
                memset(entry, 0, sizeof *entry);                                                                      \
                entry->d_ino = 81000 + listing[i].told;                                                               \
                entry->d_type = DT_CHR;                                                                               \
                sprintf(entry->d_name, "video%d", listing[i].told++);                                                 \
                break;                                                                                                \
            }                                                                                                         \
        return entry;                                                                                                 \
    }
READDIRS(readdir, dirent)
READDIRS(readdir64, dirent64)
