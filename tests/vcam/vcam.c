/*
 * A camera in user space, for tests on machines without one.
 *
 * Loaded with LD_PRELOAD, this library puts one more device into /dev as the
 * process sees it and answers the V4L2 calls on it. The program under test
 * runs unchanged, down to the ioctl. It shows that the program speaks V4L2
 * as nokhwa does; it proves nothing about real drivers.
 *
 *   gcc -shared -fPIC -O2 -o libvcam.so vcam.c -ldl -lpthread
 *
 * Environment:
 *   VCAM_MJPG=file         JPEG pictures, one after the other; offers MJPG
 *   VCAM_YUYV=file         YUYV pictures, one after the other; offers YUYV
 *                          (at least one of the two; both offer both)
 *   VCAM_W, VCAM_H         size of the pictures (1280, 720)
 *   VCAM_FPS               pictures per second (30)
 *   VCAM_NAME              name of the camera ("Virtual Rink Cam")
 *   VCAM_INDEX             n of /dev/videoN (0)
 *   VCAM_INDEX_FILE=path   n of /dev/videoN is what this file says, looked at
 *                          anew each time
 *   VCAM_BUS               where it is plugged in ("usb-vcam-1")
 *   VCAM2_INDEX, VCAM2_NAME, VCAM2_BUS, VCAM2_GONE
 *                          a second camera, where VCAM2_INDEX is set; bus
 *                          "usb-vcam-2"
 *   VCAM2_MJPG             its own JPEG pictures; without it those of the first.
 *                          Both cameras then show the picture of the moment,
 *                          counted from the start of the process, whenever
 *                          each was opened: two films of one thing stay one
 *   VCAM_STALL_AFTER=n     after n pictures of a stream no more come; the
 *                          device stays
 *   VCAM_UNPLUG_AFTER=n    after n pictures of a stream the device is gone
 *   VCAM_GONE=path         the device is absent while this file exists
 *   VCAM_PLAIN_ONLY=path   only YUYV is offered while this file exists
 *   VCAM_CORRUPT_EVERY=n   every n-th picture lacks its second half
 *   VCAM_EXPOSURE=n        the exposure time is n times 100 microseconds, set by
 *                          hand; without it the camera tells nothing of it
 *   VCAM_EXPOSURE_AUTO=n   who sets it (3 the camera, 1 somebody)
 *   VCAM_TRACE=1           prints every ioctl
 *
 * Limits: two devices, each opened once at a time, one size and rate.
 * Struct layouts and ioctl semantics: linux/videodev2.h and the kernel's
 * V4L2 user-space API documentation.
 */
#define _GNU_SOURCE
#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <linux/videodev2.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

/* Declares r_name and lets it point to the function this library hides. */
#define REAL(ret, name, ...)                                                   \
    static ret (*r_##name)(__VA_ARGS__);                                       \
    if (!r_##name)                                                             \
    r_##name = dlsym(RTLD_NEXT, #name)

#define MAX_BUFFERS 32
#define MAX_PICTURES 100000

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;

/* A device and its one opening. `fd` is the reading end of a pipe that holds one byte per
 * filled buffer, so that poll() on it works as on a real device. */
struct device {
    char node[32], name[32], bus[32];
    const char *gone_path, *index_file;
    int fd, write_end, memfd;
    int streaming, gone;
    int buffer_count;
    size_t buffer_size;
    uint8_t *memory;
    struct v4l2_pix_format format;
    unsigned fps, sequence;
    struct v4l2_buffer buffers[MAX_BUFFERS];
    int queued[MAX_BUFFERS], queued_count;
    int filled[MAX_BUFFERS], filled_count;
    pthread_t thread;
};
static struct device devices[2] = {{.fd = -1}, {.fd = -1}};
static int device_count = 1;

static unsigned width = 1280, height = 720, fps = 30;
static long stall_after, unplug_after, corrupt_every;
static const char *mjpg_path, *yuyv_path, *plain_only_path;
static uint8_t *yuyv;
static size_t yuyv_size;

/* JPEG pictures, one after the other. */
struct film {
    uint8_t *data;
    size_t *offsets;
    int count;
};
static struct film films[2];
static int together;
static struct timespec began;

static long env_number(const char *key, long otherwise) {
    const char *text = getenv(key);
    return text ? atol(text) : otherwise;
}

/* The pages are let go after use (`fill_buffer`): the program under test is
 * measured with this camera in it. */
static uint8_t *read_file(const char *path, size_t *size) {
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0) {
        fprintf(stderr, "vcam: cannot open %s\n", path);
        exit(99);
    }
    *size = lseek(fd, 0, SEEK_END);
    void *data = (void *)syscall(SYS_mmap, NULL, *size, PROT_READ, MAP_SHARED, fd, 0L);
    if (data == MAP_FAILED)
        abort();
    close(fd);
    return data;
}

static void let_go(const struct film *film) {
    madvise((void *)film->data, film->offsets[film->count], MADV_DONTNEED);
}

static struct film read_film(const char *path) {
    struct film film = {0};
    size_t size;
    film.data = read_file(path, &size);
    film.offsets = malloc(sizeof(size_t) * (MAX_PICTURES + 1));
    /* FF D8 FF starts a picture; it cannot occur in coded data. */
    for (size_t i = 0; i + 2 < size && film.count < MAX_PICTURES; i++)
        if (film.data[i] == 0xff && film.data[i + 1] == 0xd8 && film.data[i + 2] == 0xff)
            film.offsets[film.count++] = i;
    film.offsets[film.count] = size;
    let_go(&film);
    return film;
}

__attribute__((constructor)) static void start(void) {
    struct device *one = &devices[0], *two = &devices[1];
    snprintf(one->node, sizeof one->node, "/dev/video%ld", env_number("VCAM_INDEX", 0));
    snprintf(one->name, sizeof one->name, "%s", getenv("VCAM_NAME") ?: "Virtual Rink Cam");
    snprintf(one->bus, sizeof one->bus, "%s", getenv("VCAM_BUS") ?: "usb-vcam-1");
    one->gone_path = getenv("VCAM_GONE");
    one->index_file = getenv("VCAM_INDEX_FILE");
    device_count = getenv("VCAM2_INDEX") ? 2 : 1;
    snprintf(two->node, sizeof two->node, "/dev/video%ld", env_number("VCAM2_INDEX", 1));
    snprintf(two->name, sizeof two->name, "%s", getenv("VCAM2_NAME") ?: one->name);
    snprintf(two->bus, sizeof two->bus, "%s", getenv("VCAM2_BUS") ?: "usb-vcam-2");
    two->gone_path = getenv("VCAM2_GONE");
    plain_only_path = getenv("VCAM_PLAIN_ONLY");
    width = env_number("VCAM_W", width);
    height = env_number("VCAM_H", height);
    fps = env_number("VCAM_FPS", fps);
    stall_after = env_number("VCAM_STALL_AFTER", -1);
    unplug_after = env_number("VCAM_UNPLUG_AFTER", -1);
    corrupt_every = env_number("VCAM_CORRUPT_EVERY", 0);
    clock_gettime(CLOCK_MONOTONIC, &began);
    if ((mjpg_path = getenv("VCAM_MJPG"))) {
        films[0] = films[1] = read_film(mjpg_path);
        if ((together = getenv("VCAM2_MJPG") != NULL))
            films[1] = read_film(getenv("VCAM2_MJPG"));
    }
    if ((yuyv_path = getenv("VCAM_YUYV")))
        yuyv = read_file(yuyv_path, &yuyv_size);
}

static int enabled(void) { return mjpg_path || yuyv_path; }

/* The node is not there: not listed, cannot be opened. */
static int absent(struct device *d) { return d->gone_path && access(d->gone_path, F_OK) == 0; }

/* Plugged in again, a camera may get another number. */
static void look_up_number(struct device *d) {
    FILE *file = d->index_file && d->fd < 0 ? fopen(d->index_file, "r") : NULL;
    int n;
    if (!file)
        return;
    if (fscanf(file, "%d", &n) == 1)
        snprintf(d->node, sizeof d->node, "/dev/video%d", n);
    fclose(file);
}

/* This handle is dead. Stays so until opened again, as after an unplug. */
static int is_gone(struct device *d) { return d->gone || absent(d); }

static int fail(int code) {
    errno = code;
    return -1;
}

static void fill_buffer(struct device *d, int i, unsigned number, const struct timespec *now) {
    struct v4l2_buffer *buffer = &d->buffers[i];
    uint8_t *to = d->memory + i * d->buffer_size;
    if (d->format.pixelformat == V4L2_PIX_FMT_MJPEG) {
        const struct film *film = &films[d - devices];
        double since = now->tv_sec - began.tv_sec + (now->tv_nsec - began.tv_nsec) * 1e-9;
        int k = (together ? (unsigned)(since * d->fps) : number) % film->count;
        buffer->bytesused = film->offsets[k + 1] - film->offsets[k];
        memcpy(to, film->data + film->offsets[k], buffer->bytesused);
        let_go(film);
        if (corrupt_every > 0 && number % corrupt_every == corrupt_every - 1)
            memset(to + buffer->bytesused / 2, 0, buffer->bytesused - buffer->bytesused / 2);
    } else {
        size_t size = (size_t)d->format.width * d->format.height * 2;
        buffer->bytesused = size;
        memcpy(to, yuyv + (number % (yuyv_size / size)) * size, size);
    }
    buffer->sequence = number;
    buffer->timestamp.tv_sec = now->tv_sec;
    buffer->timestamp.tv_usec = now->tv_nsec / 1000;
    buffer->flags = V4L2_BUF_FLAG_MAPPED | V4L2_BUF_FLAG_DONE | V4L2_BUF_FLAG_TIMESTAMP_MONOTONIC;
    buffer->field = V4L2_FIELD_NONE;
}

/* The sensor: fills one queued buffer per period; with none queued the
 * picture is lost, as in a driver. */
static void *sensor(void *device) {
    struct device *d = device;
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    for (;;) {
        t.tv_nsec += 1000000000L / d->fps;
        if (t.tv_nsec >= 1000000000L) {
            t.tv_nsec -= 1000000000L;
            t.tv_sec++;
        }
        clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &t, NULL);
        pthread_mutex_lock(&lock);
        if (!d->streaming) {
            pthread_mutex_unlock(&lock);
            return NULL;
        }
        if ((unplug_after >= 0 && d->sequence >= unplug_after) || is_gone(d)) {
            /* The pipe hangs up: poll() returns and the next ioctl fails. */
            d->gone = 1;
            d->streaming = 0;
            close(d->write_end);
            d->write_end = -1;
            pthread_mutex_unlock(&lock);
            return NULL;
        }
        if (stall_after >= 0 && d->sequence >= stall_after) {
            pthread_mutex_unlock(&lock);
            continue;
        }
        unsigned number = d->sequence++;
        if (d->queued_count) {
            int i = d->queued[0];
            memmove(d->queued, d->queued + 1, --d->queued_count * sizeof(int));
            fill_buffer(d, i, number, &t);
            d->filled[d->filled_count++] = i;
            char one = 1;
            if (write(d->write_end, &one, 1) != 1) {
                /* The pipe holds far more than MAX_BUFFERS bytes. */
            }
        }
        pthread_mutex_unlock(&lock);
    }
}

/* The n-th format on offer, 0 beyond the last. */
static unsigned offered(int n) {
    unsigned list[2];
    int count = 0;
    int plain_only = plain_only_path && access(plain_only_path, F_OK) == 0;
    if (mjpg_path && !plain_only)
        list[count++] = V4L2_PIX_FMT_MJPEG;
    if (yuyv_path)
        list[count++] = V4L2_PIX_FMT_YUYV;
    return n < count ? list[n] : 0;
}

static void set_format(struct device *d, unsigned pixelformat) {
    memset(&d->format, 0, sizeof d->format);
    d->format.width = width;
    d->format.height = height;
    d->format.pixelformat = pixelformat;
    d->format.field = V4L2_FIELD_NONE;
    d->format.sizeimage = width * height * 2;
    d->format.bytesperline = pixelformat == V4L2_PIX_FMT_YUYV ? width * 2 : 0;
    d->format.colorspace = V4L2_COLORSPACE_SRGB;
}

static int stop_streaming(struct device *d) {
    if (d->streaming) {
        d->streaming = 0;
        pthread_mutex_unlock(&lock);
        pthread_join(d->thread, NULL);
        pthread_mutex_lock(&lock);
    }
    d->queued_count = d->filled_count = 0;
    char bytes[64];
    while (d->fd >= 0 && read(d->fd, bytes, sizeof bytes) > 0) {
    }
    return 0;
}

static int request_buffers(struct device *d, struct v4l2_requestbuffers *r) {
    if (r->memory != V4L2_MEMORY_MMAP)
        return fail(EINVAL);
    if (d->streaming)
        return fail(EBUSY);
    if (d->memory) {
        munmap(d->memory, d->buffer_count * d->buffer_size);
        close(d->memfd);
        d->memory = 0;
    }
    d->buffer_count = 0;
    if (!r->count)
        return 0;
    if (r->count > MAX_BUFFERS)
        r->count = MAX_BUFFERS;
    d->buffer_size = (d->format.sizeimage + 4095) & ~4095UL;
    d->buffer_count = r->count;
    d->memfd = memfd_create("vcam", MFD_CLOEXEC);
    if (ftruncate(d->memfd, d->buffer_count * d->buffer_size))
        return -1;
    d->memory = mmap(NULL, d->buffer_count * d->buffer_size, PROT_READ | PROT_WRITE, MAP_SHARED, d->memfd, 0);
    for (int i = 0; i < d->buffer_count; i++) {
        memset(&d->buffers[i], 0, sizeof d->buffers[i]);
        d->buffers[i].index = i;
        d->buffers[i].type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
        d->buffers[i].memory = V4L2_MEMORY_MMAP;
        d->buffers[i].m.offset = i * d->buffer_size;
        d->buffers[i].length = d->format.sizeimage;
    }
    d->queued_count = d->filled_count = 0;
    return 0;
}

static int device_ioctl(struct device *d, unsigned long request, void *arg) {
    if (getenv("VCAM_TRACE"))
        fprintf(stderr, "vcam: ioctl %c nr %lu\n", (char)_IOC_TYPE(request), _IOC_NR(request));
    if (is_gone(d))
        return fail(ENODEV);
    switch ((unsigned)request) {
    case VIDIOC_QUERYCAP: {
        struct v4l2_capability *c = arg;
        memset(c, 0, sizeof *c);
        strcpy((char *)c->driver, "uvcvideo");
        strcpy((char *)c->card, d->name);
        strcpy((char *)c->bus_info, d->bus);
        c->version = 0x060100;
        c->device_caps = V4L2_CAP_VIDEO_CAPTURE | V4L2_CAP_STREAMING | V4L2_CAP_EXT_PIX_FORMAT;
        c->capabilities = c->device_caps | V4L2_CAP_DEVICE_CAPS;
        return 0;
    }
    case VIDIOC_QUERY_EXT_CTRL: {
        struct v4l2_query_ext_ctrl *q = arg;
        if (!getenv("VCAM_EXPOSURE") || (q->id & V4L2_CTRL_FLAG_NEXT_CTRL))
            return fail(EINVAL);
        if (q->id != V4L2_CID_EXPOSURE_AUTO && q->id != V4L2_CID_EXPOSURE_ABSOLUTE)
            return fail(EINVAL);
        q->type = q->id == V4L2_CID_EXPOSURE_AUTO ? V4L2_CTRL_TYPE_MENU : V4L2_CTRL_TYPE_INTEGER;
        q->maximum = 10000;
        q->step = 1;
        return 0;
    }
    case VIDIOC_G_EXT_CTRLS: {
        struct v4l2_ext_controls *c = arg;
        if (!getenv("VCAM_EXPOSURE") || c->count != 1)
            return fail(EINVAL);
        c->controls->value = c->controls->id == V4L2_CID_EXPOSURE_AUTO
                                 ? env_number("VCAM_EXPOSURE_AUTO", 1)
                                 : env_number("VCAM_EXPOSURE", 0);
        return 0;
    }
    case VIDIOC_ENUM_FMT: {
        struct v4l2_fmtdesc *f = arg;
        unsigned format = f->type == V4L2_BUF_TYPE_VIDEO_CAPTURE ? offered(f->index) : 0;
        if (!format)
            return fail(EINVAL);
        int jpeg = format == V4L2_PIX_FMT_MJPEG;
        f->pixelformat = format;
        f->flags = jpeg ? V4L2_FMT_FLAG_COMPRESSED : 0;
        strcpy((char *)f->description, jpeg ? "Motion-JPEG" : "YUYV 4:2:2");
        return 0;
    }
    case VIDIOC_ENUM_FRAMESIZES: {
        struct v4l2_frmsizeenum *f = arg;
        if (f->index)
            return fail(EINVAL);
        f->type = V4L2_FRMSIZE_TYPE_DISCRETE;
        f->discrete.width = width;
        f->discrete.height = height;
        return 0;
    }
    case VIDIOC_ENUM_FRAMEINTERVALS: {
        struct v4l2_frmivalenum *f = arg;
        if (f->index || f->width != width)
            return fail(EINVAL);
        f->type = V4L2_FRMIVAL_TYPE_DISCRETE;
        f->discrete.numerator = 1;
        f->discrete.denominator = fps;
        return 0;
    }
    case VIDIOC_G_FMT:
        ((struct v4l2_format *)arg)->fmt.pix = d->format;
        return 0;
    case VIDIOC_TRY_FMT:
    case VIDIOC_S_FMT: {
        struct v4l2_format *f = arg;
        if (d->streaming || (d->buffer_count && (unsigned)request == VIDIOC_S_FMT))
            return fail(EBUSY);
        unsigned format = f->fmt.pix.pixelformat;
        set_format(d, format == offered(0) || format == offered(1) ? format : offered(0));
        f->fmt.pix = d->format;
        return 0;
    }
    case VIDIOC_G_PARM:
    case VIDIOC_S_PARM: {
        struct v4l2_streamparm *s = arg;
        s->parm.capture.capability = V4L2_CAP_TIMEPERFRAME;
        s->parm.capture.timeperframe.numerator = 1;
        s->parm.capture.timeperframe.denominator = fps;
        return 0;
    }
    case VIDIOC_ENUMINPUT: {
        struct v4l2_input *i = arg;
        if (i->index)
            return fail(EINVAL);
        i->type = V4L2_INPUT_TYPE_CAMERA;
        strcpy((char *)i->name, "Camera 1");
        return 0;
    }
    case VIDIOC_G_INPUT:
        *(int *)arg = 0;
        return 0;
    case VIDIOC_S_INPUT:
        return 0;
    case VIDIOC_REQBUFS:
        return request_buffers(d, arg);
    case VIDIOC_QUERYBUF: {
        struct v4l2_buffer *b = arg;
        if (b->index >= d->buffer_count)
            return fail(EINVAL);
        *b = d->buffers[b->index];
        return 0;
    }
    case VIDIOC_QBUF: {
        struct v4l2_buffer *b = arg;
        if (b->index >= d->buffer_count || d->queued_count >= d->buffer_count)
            return fail(EINVAL);
        d->queued[d->queued_count++] = b->index;
        return 0;
    }
    case VIDIOC_DQBUF: {
        struct v4l2_buffer *b = arg;
        char one;
        if (!d->filled_count)
            return fail(EAGAIN);
        if (read(d->fd, &one, 1) != 1) {
            /* One byte per filled buffer is there. */
        }
        int i = d->filled[0];
        memmove(d->filled, d->filled + 1, --d->filled_count * sizeof(int));
        *b = d->buffers[i];
        return 0;
    }
    case VIDIOC_STREAMON:
        if (!d->buffer_count)
            return fail(EINVAL);
        if (!d->streaming) {
            d->streaming = 1;
            d->sequence = 0;
            pthread_create(&d->thread, NULL, sensor, d);
        }
        return 0;
    case VIDIOC_STREAMOFF:
        return stop_streaming(d);
    default:
        return fail(ENOTTY);
    }
}

static int locked_ioctl(struct device *d, unsigned long request, void *arg) {
    pthread_mutex_lock(&lock);
    int result = device_ioctl(d, request, arg);
    int code = errno;
    pthread_mutex_unlock(&lock);
    errno = code;
    return result;
}

static int open_device(struct device *d) {
    if (absent(d))
        return fail(ENOENT);
    if (d->fd >= 0)
        return fail(EBUSY);
    int ends[2];
    if (pipe2(ends, O_CLOEXEC | O_NONBLOCK))
        return -1;
    d->fd = ends[0];
    d->write_end = ends[1];
    d->gone = 0;
    d->fps = fps;
    set_format(d, offered(0));
    return d->fd;
}

/* A file with the camera's name in it, as sysfs has one. */
static int open_name(struct device *d) {
    if (absent(d))
        return fail(ENOENT);
    int fd = memfd_create("name", MFD_CLOEXEC);
    if (write(fd, d->name, strlen(d->name)) < 0 || write(fd, "\n", 1) < 0)
        return -1;
    lseek(fd, 0, SEEK_SET);
    return fd;
}

/* Whether the path is one of ours; then *fd is the answer to open(). */
static int hooked_open(const char *path, int *fd) {
    if (!enabled())
        return 0;
    for (int i = 0; i < device_count; i++) {
        struct device *d = &devices[i];
        char name_path[64];
        snprintf(name_path, sizeof name_path, "/sys/class/video4linux/%s/name", d->node + 5);
        if (!strcmp(path, d->node)) {
            *fd = open_device(d);
            return 1;
        }
        if (!strcmp(path, name_path)) {
            *fd = open_name(d);
            return 1;
        }
    }
    return 0;
}

/* The device whose open handle this is, or none. */
static struct device *device_of(int fd) {
    for (int i = 0; fd >= 0 && i < device_count; i++)
        if (fd == devices[i].fd)
            return &devices[i];
    return NULL;
}

#define HOOK_OPEN(function)                                                    \
    int function(const char *path, int flags, ...) {                           \
        int fd;                                                                \
        if (hooked_open(path, &fd))                                            \
            return fd;                                                         \
        va_list list;                                                          \
        va_start(list, flags);                                                 \
        int mode = va_arg(list, int);                                          \
        va_end(list);                                                          \
        REAL(int, function, const char *, int, ...);                           \
        return r_##function(path, flags, mode);                                \
    }
HOOK_OPEN(open)
HOOK_OPEN(open64)

int close(int fd) {
    REAL(int, close, int);
    struct device *d = device_of(fd);
    if (d) {
        pthread_mutex_lock(&lock);
        stop_streaming(d);
        if (d->write_end >= 0)
            r_close(d->write_end);
        d->fd = d->write_end = -1;
        if (d->memory) {
            munmap(d->memory, d->buffer_count * d->buffer_size);
            r_close(d->memfd);
            d->memory = 0;
        }
        d->buffer_count = 0;
        pthread_mutex_unlock(&lock);
    }
    return r_close(fd);
}

int ioctl(int fd, unsigned long request, ...) {
    va_list list;
    va_start(list, request);
    void *arg = va_arg(list, void *);
    va_end(list);
    struct device *d = device_of(fd);
    if (d)
        return locked_ioctl(d, request, arg);
    REAL(int, ioctl, int, unsigned long, ...);
    return r_ioctl(fd, request, arg);
}

/* The v4l crate makes its ioctls through syscall(). */
long syscall(long number, ...) {
    va_list list;
    va_start(list, number);
    long a[6];
    for (int i = 0; i < 6; i++)
        a[i] = va_arg(list, long);
    va_end(list);
    struct device *d = number == SYS_ioctl ? device_of((int)a[0]) : NULL;
    if (d)
        return locked_ioctl(d, a[1], (void *)a[2]);
    REAL(long, syscall, long, ...);
    return r_syscall(number, a[0], a[1], a[2], a[3], a[4], a[5]);
}

#define HOOK_MMAP(function)                                                    \
    void *function(void *at, size_t size, int prot, int flags, int fd, off_t offset) { \
        REAL(void *, function, void *, size_t, int, int, int, off_t);          \
        struct device *d = device_of(fd);                                      \
        if (d)                                                                 \
            fd = d->memfd;                                                     \
        return r_##function(at, size, prot, flags, fd, offset);                \
    }
HOOK_MMAP(mmap)
HOOK_MMAP(mmap64)

static DIR *dev_dir;
static int dev_dir_done;
static struct dirent64 dev_entry;

DIR *opendir(const char *path) {
    REAL(DIR *, opendir, const char *);
    DIR *dir = r_opendir(path);
    if (!strcmp(path, "/dev")) {
        dev_dir = dir;
        dev_dir_done = 0;
    }
    return dir;
}

/* After the last real entry of /dev come ours. */
struct dirent64 *readdir64(DIR *dir) {
    REAL(struct dirent64 *, readdir64, DIR *);
    struct dirent64 *entry = r_readdir64(dir);
    while (!entry && dir == dev_dir && enabled() && dev_dir_done < device_count) {
        struct device *d = &devices[dev_dir_done++];
        look_up_number(d);
        if (absent(d))
            continue;
        dev_entry.d_type = DT_CHR;
        dev_entry.d_ino = 1;
        strcpy(dev_entry.d_name, d->node + 5);
        return &dev_entry;
    }
    return entry;
}

struct dirent *readdir(DIR *dir) { return (struct dirent *)readdir64(dir); }
