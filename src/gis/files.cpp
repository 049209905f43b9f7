// SPDX-License-Identifier: MIT
#include "gis/files.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <fcntl.h>
#include <filesystem>
#include <sys/file.h>
#include <sys/stat.h>
#include <system_error>
#include <unistd.h>

namespace catchfield::gis {

namespace {

namespace fs = std::filesystem;

std::string reason(int error) {
    return std::generic_category().message(error);
}

[[noreturn]] void cannot(const std::string& what, const std::string& path, int error) {
    throw Error(ErrorKind::output, what + ": " + reason(error), {.path = path});
}

std::string parent_of(const std::string& path) {
    const std::string parent = fs::path(path).parent_path().string();
    return parent.empty() ? "." : parent;
}

std::string name_of(const std::string& path) {
    return fs::path(path).filename().string();
}

std::string without_trailing_slash(std::string path) {
    while (path.size() > 1 && path.back() == '/') path.pop_back();
    return path;
}

/// The process's file mask; asked for once, because asking sets it for a moment.
mode_t file_mask() {
    static const mode_t mask = [] {
        const mode_t current = ::umask(0);
        ::umask(current);
        return current;
    }();
    return mask;
}

void write_all(int descriptor, const std::string& path, std::string_view bytes) {
    while (!bytes.empty()) {
        const ssize_t written = ::write(descriptor, bytes.data(), bytes.size());
        if (written < 0) {
            if (errno == EINTR) continue;
            cannot("cannot be written", path, errno);
        }
        bytes.remove_prefix(static_cast<std::size_t>(written));
    }
}

void sync_folder(const std::string& path) {
    const int descriptor = ::open(path.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (descriptor < 0) return;
    ::fsync(descriptor);
    ::close(descriptor);
}

}  // namespace

AtomicFile::AtomicFile(const std::string& path) : m_path(path) {
    std::string pattern = parent_of(path) + "/." + name_of(path).substr(0, 200) + ".partial-XXXXXX";
    m_descriptor = ::mkostemp(pattern.data(), O_CLOEXEC);
    if (m_descriptor < 0) cannot("cannot be written", path, errno);
    m_temporary = pattern;
    // mkostemp makes files for the owner alone; outputs follow the user's mask.
    ::fchmod(m_descriptor, 0666 & ~file_mask());
}

AtomicFile::~AtomicFile() {
    if (m_descriptor >= 0) ::close(m_descriptor);
    if (!m_temporary.empty()) ::unlink(m_temporary.c_str());
}

void AtomicFile::write(std::string_view bytes) {
    write_all(m_descriptor, m_path, bytes);
}

void AtomicFile::commit(bool durable) {
    if (durable && ::fsync(m_descriptor) != 0) cannot("cannot be written to disk", m_path, errno);
    const int closed = ::close(m_descriptor);
    m_descriptor = -1;
    if (closed != 0) cannot("cannot be written", m_path, errno);
    if (::rename(m_temporary.c_str(), m_path.c_str()) != 0) {
        cannot("cannot be put in place", m_path, errno);
    }
    m_temporary.clear();
    if (durable) sync_folder(parent_of(m_path));
}

void write_file_atomically(const std::string& path, std::string_view bytes) {
    AtomicFile file(path);
    file.write(bytes);
    file.commit();
}

void write_staged_file(const std::string& path, std::string_view bytes) {
    const int descriptor =
        ::open(path.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_NOFOLLOW | O_CLOEXEC, 0666);
    if (descriptor < 0) cannot("cannot be written", path, errno);
    try {
        write_all(descriptor, path, bytes);
    } catch (const Error&) {
        ::close(descriptor);
        throw;
    }
    if (::close(descriptor) != 0) cannot("cannot be written", path, errno);
}

void require_plain_file(const std::string& path) {
    struct stat status {};
    if (::stat(path.c_str(), &status) != 0 || S_ISREG(status.st_mode) || S_ISDIR(status.st_mode)) {
        return;
    }
    throw Error(ErrorKind::input, "is a pipe or a device, not a file",
                {.path = path, .hint = "Write the data to a file first."});
}

std::string read_file(const std::string& path, std::size_t max_bytes) {
    require_plain_file(path);
    const int descriptor = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (descriptor < 0) {
        throw Error(ErrorKind::input, "cannot be opened: " + reason(errno), {.path = path});
    }
    struct stat status {};
    std::string bytes;
    int error = ::fstat(descriptor, &status) == 0 ? 0 : errno;
    if (error == 0 && S_ISDIR(status.st_mode)) error = EISDIR;
    if (error == 0 && S_ISREG(status.st_mode)) {
        bytes.reserve(std::min(max_bytes, static_cast<std::size_t>(status.st_size)));
    }
    char buffer[65536];
    while (error == 0) {
        const ssize_t got = ::read(descriptor, buffer, sizeof buffer);
        if (got == 0) break;
        if (got < 0) {
            if (errno != EINTR) error = errno;
        } else if (bytes.size() + static_cast<std::size_t>(got) > max_bytes) {
            error = EFBIG;
        } else {
            bytes.append(buffer, static_cast<std::size_t>(got));
        }
    }
    ::close(descriptor);
    if (error != 0)
        throw Error(ErrorKind::input, "cannot be read: " + reason(error), {.path = path});
    return bytes;
}

bool read_at(int descriptor, void* to, std::size_t size, std::uint64_t offset) {
    auto* at = static_cast<char*>(to);
    while (size > 0) {
        const ssize_t got = ::pread(descriptor, at, size, static_cast<off_t>(offset));
        if (got < 0 && errno == EINTR) continue;
        if (got <= 0) return false;
        at += got;
        offset += static_cast<std::uint64_t>(got);
        size -= static_cast<std::size_t>(got);
    }
    return true;
}

void write_at(int descriptor, const std::string& path, std::string_view bytes,
              std::uint64_t offset) {
    while (!bytes.empty()) {
        const ssize_t written =
            ::pwrite(descriptor, bytes.data(), bytes.size(), static_cast<off_t>(offset));
        if (written < 0) {
            if (errno == EINTR) continue;
            cannot("cannot be written", path, errno);
        }
        bytes.remove_prefix(static_cast<std::size_t>(written));
        offset += static_cast<std::uint64_t>(written);
    }
}

StagedFolder::StagedFolder(const std::string& target, bool overwrite, Staging staging)
    : m_target(without_trailing_slash(target)), m_overwrite(overwrite) {
    const std::string name = name_of(m_target);
    if (name.empty() || name == "." || name == "..") {
        throw Error(ErrorKind::usage, "the output folder needs a name of its own",
                    {.path = target});
    }
    const std::string base = parent_of(m_target) + "/." + name.substr(0, 200);
    const auto check_target = [&] {
        struct stat status {};
        if (::lstat(m_target.c_str(), &status) != 0) return;
        if (!overwrite) {
            throw Error(ErrorKind::usage, "the output folder exists",
                        {.path = m_target, .hint = "Name another one, or use --overwrite."});
        }
        if (!S_ISDIR(status.st_mode)) {
            throw Error(ErrorKind::usage, "the output folder's name is taken by a file",
                        {.path = m_target, .hint = "Name another one."});
        }
    };
    check_target();
    take_lock(base);
    try {
        if (staging == Staging::lasting) {
            make_lasting(base);
            check_target();  // an earlier run may have ended in the middle of the exchange
        } else {
            make_unguessable(base);
        }
    } catch (...) {
        ::unlink(m_lock.c_str());
        ::close(m_lock_descriptor);
        throw;
    }
}

void StagedFolder::take_lock(const std::string& base) {
    m_lock = base + ".lock";
    // The lock's file may be removed by its holder between open and lock: try until both agree.
    while (true) {
        m_lock_descriptor = ::open(m_lock.c_str(), O_CREAT | O_RDWR | O_CLOEXEC | O_NOFOLLOW, 0600);
        if (m_lock_descriptor < 0) cannot("the output folder cannot be made", m_target, errno);
        if (::flock(m_lock_descriptor, LOCK_EX | LOCK_NB) != 0) {
            ::close(m_lock_descriptor);
            throw Error(ErrorKind::output, "another run is writing to this folder",
                        {.path = m_target, .hint = "Wait for it, or name another folder."});
        }
        struct stat held {
        }, status{};
        if (::fstat(m_lock_descriptor, &held) == 0 && ::stat(m_lock.c_str(), &status) == 0 &&
            held.st_ino == status.st_ino && held.st_dev == status.st_dev) {
            return;
        }
        ::close(m_lock_descriptor);
    }
}

void StagedFolder::make_unguessable(const std::string& base) {
    std::string pattern = base + ".partial-XXXXXX";
    if (::mkdtemp(pattern.data()) == nullptr) {
        cannot("the output folder cannot be made", m_target, errno);
    }
    m_partial = pattern;
}

void StagedFolder::make_lasting(const std::string& base) {
    const std::string path = base + ".partial";
    // Killed after the old target was moved away and before the new one came: put it back.
    const std::string old = path + "-old";
    struct stat status {};
    if (::lstat(old.c_str(), &status) == 0) {
        if (::lstat(m_target.c_str(), &status) != 0) {
            if (::rename(old.c_str(), m_target.c_str()) != 0)
                cannot("the old output folder cannot be put back", m_target, errno);
        } else {
            remove_folder(old);
        }
    }
    if (::mkdir(path.c_str(), 0700) == 0) {
        m_partial = path;
        return;
    }
    if (errno != EEXIST) cannot("the output folder cannot be made", m_target, errno);
    // The name can be guessed, so what stands there must be this user's and nobody else's.
    const int descriptor = ::open(path.c_str(), O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
    const bool own = descriptor >= 0 && ::fstat(descriptor, &status) == 0 &&
                     status.st_uid == ::geteuid() && ::fchmod(descriptor, 0700) == 0;
    if (descriptor >= 0) ::close(descriptor);
    if (!own) {
        throw Error(ErrorKind::output,
                    "the name for the unfinished plan is taken by something that is not a folder "
                    "of yours",
                    {.path = path, .hint = "Have it removed, or name another output folder."});
    }
    m_found = true;
    m_partial = path;
}

StagedFolder::~StagedFolder() {
    if (!m_committed && !m_keep) remove_folder(m_partial);
    ::unlink(m_lock.c_str());
    ::close(m_lock_descriptor);
}

void StagedFolder::clear() const {
    std::error_code error;
    for (const auto& entry : fs::directory_iterator(m_partial, error)) {
        fs::remove_all(entry.path(), error);
        if (error) break;
    }
    if (error) cannot("the unfinished output cannot be removed", m_partial, error.value());
}

std::string StagedFolder::folder(const std::string& name) const {
    const std::string path = m_partial + "/" + name;
    std::error_code error;
    fs::create_directories(path, error);
    if (error) cannot("the folder cannot be made", path, error.value());
    return path;
}

void StagedFolder::commit(const std::string& working_file) {
    const int descriptor = ::open(m_partial.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (descriptor < 0) cannot("the output folder cannot be finished", m_target, errno);
    const int synced = ::syncfs(descriptor);
    const int sync_error = errno;
    ::close(descriptor);
    if (synced != 0) cannot("the output cannot be written to disk", m_target, sync_error);
    if (!working_file.empty() && ::unlink((m_partial + "/" + working_file).c_str()) != 0)
        cannot("the output folder cannot be finished", m_target, errno);
    ::chmod(m_partial.c_str(), 0777 & ~file_mask());
    std::string old;
    struct stat status {};
    if (::lstat(m_target.c_str(), &status) == 0) {
        if (!m_overwrite) {
            throw Error(ErrorKind::output, "the output folder came into being during the run",
                        {.path = m_target});
        }
        // One step where the file system can, so that the target is there at every moment.
        if (::renameat2(AT_FDCWD, m_partial.c_str(), AT_FDCWD, m_target.c_str(), RENAME_EXCHANGE) ==
            0) {
            m_committed = true;
            sync_folder(parent_of(m_target));
            remove_folder(m_partial);
            return;
        }
        old = m_partial + "-old";
        if (::rename(m_target.c_str(), old.c_str()) != 0) {
            cannot("the old output folder cannot be moved away", m_target, errno);
        }
    }
    if (::rename(m_partial.c_str(), m_target.c_str()) != 0) {
        const int error = errno;
        if (!old.empty() && ::rename(old.c_str(), m_target.c_str()) != 0) {
            throw Error(ErrorKind::output,
                        "the output folder cannot be put in place: " + reason(error),
                        {.path = m_target, .hint = "The earlier one is now at " + old + "."});
        }
        cannot("the output folder cannot be put in place", m_target, error);
    }
    m_committed = true;
    sync_folder(parent_of(m_target));
    if (!old.empty()) remove_folder(old);
}

void remove_folder(const std::string& path) {
    std::error_code ignored;
    fs::remove_all(path, ignored);
}

}  // namespace catchfield::gis
